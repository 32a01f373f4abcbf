"""The command line: parse, call the library, print, set the exit code. Nothing is computed here."""
