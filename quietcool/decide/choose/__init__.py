"""What to buy: radiator, fans and layout for each place of a rig, the quietest combination within the rules."""
