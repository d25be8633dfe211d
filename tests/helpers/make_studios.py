"""Write invented studios as folders of tables: `python -m helpers.make_studios OUT --kind careful`.

Run from the folder `tests`. Simulated results, not real kiln data.
"""

import argparse
from pathlib import Path

from helpers.kinds import KINDS
from helpers.kinds.studio import DRAWS, write_studio


def main(words=None):
    """Write a folder OUT/KIND_SEED for each kind and seed that is asked for."""
    parser = argparse.ArgumentParser(prog="python -m helpers.make_studios", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for the studios")
    parser.add_argument("--kind", nargs="+", choices=KINDS, default=list(KINDS))
    parser.add_argument("--seed", nargs="+", type=int, default=[1])
    parser.add_argument("--draws", type=int, default=DRAWS, help="re-simulations of the plan")
    asked = parser.parse_args(words)
    for kind in asked.kind:
        for seed in asked.seed:
            folder = asked.out / f"{kind}_{seed}"
            write_studio(KINDS[kind](seed, draws=asked.draws), folder)
            print(folder)


if __name__ == "__main__":
    main()
