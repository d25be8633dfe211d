"""Checks a wheel: small, licences in it, sample tables in it, the makers' tools not."""

import sys
import zipfile
from pathlib import Path

LARGEST_MB = 1.5

wheel = Path(sys.argv[1])
names = zipfile.ZipFile(wheel).namelist()
size_mb = wheel.stat().st_size / 1e6
print(f"{wheel.name}: {size_mb:.2f} MB, {len(names)} files")
faults = []
if size_mb > LARGEST_MB:
    faults.append(f"over {LARGEST_MB} MB")
for wanted in (
    "licenses/LICENSE",
    "licenses/runpredict/data/melt_coefficients_LICENSE.txt",
    "runpredict/py.typed",
    "runpredict/data/melt_coefficients.npz",
    "runpredict/sample_data/layers.csv",
    "runpredict/bench/static/bench.js",
    "runpredict/bench/templates/base.html",
):
    if not any(name.endswith(wanted) for name in names):
        faults.append(f"{wanted} is missing")
faults += [
    f"{name} does not belong" for name in names if "tests/" in name or "viscosity_open" in name
]
if faults:
    sys.exit(f"{wheel.name}: {'; '.join(faults)}")
