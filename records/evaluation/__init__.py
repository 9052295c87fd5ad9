"""Recordings against procedures: quantities, uncertainty, verdicts and reasons (pure: no Django, no clock)."""
