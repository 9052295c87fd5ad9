"""What reads across runs, plans and units; every list starts from who asks."""
