"""Commands for the shell."""
