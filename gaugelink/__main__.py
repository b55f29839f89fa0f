"""`python -m gaugelink` is the `gaugelink` command."""

from gaugelink.cli import main

if __name__ == "__main__":
    main()
