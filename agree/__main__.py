"""`python -m agree`: the same as the command `agree`."""

from agree.cli.main import main

if __name__ == "__main__":
    main()
