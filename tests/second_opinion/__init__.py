"""A second opinion on the physics: scalar, slow, and written from the equations alone.

It shares with the package only the records of `quietcool.entry.build` and the property fit
`quietcool.physics.coolant.coolant_properties` (whose truth is checked elsewhere, against CoolProp).
Every root is a `brentq` of its own, nested where laws meet; every sum is a Python loop; nothing is batched.

What both sides agree on
------------------------
Fan and pump curves
    PCHIP through the sheet's points. A curve that ends above zero is extended by its end slope (the last chord
    where that slope is zero) to zero pressure: Q_free. Beyond: -k (Q^2 - Q_free^2), k = -slope / (2 Q_free).
    Below zero flow: p_c(0) + k Q^2. Laws p = (rho/rho_c) (N/N_c)^2 p_c(Q N_c/N); at rest -(rho/rho_c) k Q|Q|.
    A stack with more than one fan row multiplies each positive rise by `series_efficiency`.
Stacks
    Walked from source to target for positive mass flow, backwards for negative. Fans, screens and openings see the
    air of their own inlet, the core the mean of its inlet and outlet. A row's electrical power count P (N/N_s)^3
    warms the stream behind it. Densities are taken at the ISA pressure of the altitude, gauge pressures neglected.
Radiators
    UA_air = ua_air (|m| / (A 1.2 V_ref))^m, UA_coolant = ua_coolant (q/q_ref)^n, both streams unmixed.
    Forced heat G (T_coolant,in - T_air,in) with the air after fans that stand before the core; the missing rest of
    passive_conductance fan_sections, if any, times (T_coolant,in - T_source node) goes to the path's source node.
Loop
    One density, specific heat and viscosity for the whole ring, at the plain mean over all stations (also those
    inside branches) of (T_in + T_out)/2. Plates and radiators a q (mu/mu_ref) + b q^2 (rho/rho_ref), reference
    water at 30 degC. Tube by Churchill (1977), smooth, total flow, plus K rho v^2/2.
Enclosures
    Sum over delivering paths of |m| cp (T_delivered - T_e) + air heat + pump share + passive heat = 0.
Saddles
    One path may carry a saddle curve: every operating point is found by scanning its flow with the rest of the
    network re-solved; the statically stable one of highest flow counts.
"""
