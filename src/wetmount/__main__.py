"""`python -m wetmount` is the same as `wetmount`."""

from wetmount.cli import main

if __name__ == "__main__":
    main()
