"""Frequency responses: sweeps to branches, their resonances and what compares them with other traces."""
