"""`python -m seamcheck`: the same as the command `seamcheck`."""

from .cli import main

if __name__ == "__main__":
    main()
