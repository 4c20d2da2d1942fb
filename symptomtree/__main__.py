"""`python -m symptomtree` is the command `symptomtree`."""

import sys

from symptomtree.cli import main

if __name__ == "__main__":
    sys.exit(main())
