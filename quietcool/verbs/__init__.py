"""Verbs of the command line that have a module of their own, and what all verbs share."""
