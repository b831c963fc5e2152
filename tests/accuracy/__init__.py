"""How far answers are from the truth, on invented harvests and invented strip tables: ``python -m tests.accuracy``."""
