"""The commands: each loads settings, calls one function and says the result."""
