"""Prints the lower bounds of pyproject.toml as constraints, ``name==bound`` a line."""

import re
import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
for needed in project["dependencies"] + project["optional-dependencies"]["page"]:
    print("==".join(re.fullmatch(r"([\w-]+)>=([\d.]+)", needed).groups()))
