"""Callbacks: each hands its arguments to a plain function of the same file, which tests call directly."""
