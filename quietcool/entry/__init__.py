"""Build files and part sheets: read, checked, converted to SI."""
