"""`python -m burnlog` is the command `burnlog`."""

from burnlog.cli.app import main

if __name__ == "__main__":
    main()
