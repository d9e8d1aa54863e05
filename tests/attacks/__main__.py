"""Run attacks by name and print what they found."""

import argparse
import importlib
import pkgutil

import tests.attacks

BESIDE = {"__main__"}
"""Modules of this folder that attack nothing themselves."""


def names() -> list[str]:
    """All attacks."""
    found = (module.name for module in pkgutil.iter_modules(tests.attacks.__path__))
    return sorted(name for name in found if name not in BESIDE)


def main() -> None:
    """Run what the command line names, or everything."""
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(names())}")
    for name in parser.parse_args().names or names():
        print(name)
        for line in importlib.import_module(f"tests.attacks.{name}").attack():
            print(f"  {line}", flush=True)


if __name__ == "__main__":
    main()
