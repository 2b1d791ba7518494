"""The command line: reads options, calls one function, prints what it returns. No logic here."""
