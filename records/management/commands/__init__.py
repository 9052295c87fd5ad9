"""Commands of `manage.py` for records."""
