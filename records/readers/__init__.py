"""Files that instruments wrote, read into arrays with units, or refused in words (pure: no Django, no clock)."""
