"""The house keeps its own rules: rooms, fences, names, docstrings, hygiene."""
