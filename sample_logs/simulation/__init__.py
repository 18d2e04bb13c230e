"""A rider, a bike, a course and a cooling system, simulated step by step."""
