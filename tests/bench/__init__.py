"""Speed, as ratios within one run: `python -m tests.bench`. Nothing timed is a test; the exact gate is."""
