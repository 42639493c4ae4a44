"""`python -m sim` is the command `aislewake`."""

from sim.cli import main

if __name__ == "__main__":
    main()
