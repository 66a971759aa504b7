"""The certificate's checker: shares no code with the search whose work it checks.

`tables.py` holds scalar solvers, `ring.py` cuts the coolant ring, `case.py` makes the tables of a box, `rules.py`
narrows it, `lagrangian.py` bounds it, `tree.py` walks down the recorded boxes, `verify.py` reads the file and judges.
"""
