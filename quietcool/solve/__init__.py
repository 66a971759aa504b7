"""Airflow, coolant loop, heat and noise of a build at given speeds, many cases at once."""
