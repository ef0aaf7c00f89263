"""`python -m benchcheck` is the command line."""

from benchcheck.cli import main

if __name__ == "__main__":
    main()
