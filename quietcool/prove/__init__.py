"""What was measured against what was predicted."""
