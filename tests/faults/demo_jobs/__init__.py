"""An app for fault tests only: one job and one form, each with an effect that can be counted."""
