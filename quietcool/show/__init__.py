"""Tables, plots, report and page: what was solved and decided, in words and pictures."""
