"""Gives the pictures of a README.md their address on the web; the folder is told."""

import re
import sys
import tomllib
from pathlib import Path


def absolute(readme, source, version):
    """The text with every picture that lies beside it at its address."""
    return re.sub(r"(!\[[^]]*\]\()(?!https?:)([^)]+)\)", rf"\1{source}/raw/v{version}/\2)", readme)


def main(folder):
    """Write README.md of a folder anew."""
    project = tomllib.loads((folder / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    source = project.get("urls", {}).get("Source")
    if not source:
        sys.exit("pyproject.toml: [project.urls] has no Source; fill it in before a release.")
    readme = folder / "README.md"
    text = absolute(readme.read_text(encoding="utf-8"), source.rstrip("/"), project["version"])
    readme.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
