"""Section, profile and plan, to scale."""
