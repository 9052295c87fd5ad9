"""The demonstration laboratory: an invented scenario, played by driving the real services."""
