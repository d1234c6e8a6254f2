"""Judge service records of portable deionisation tanks by rule sets written in YAML."""

from pathlib import Path

__version__ = "0.1.0"

# In a checkout web/, plugins/ and rules/ lie beside this package; in a wheel, inside it.
if (_checkout := Path(__file__).parent.parent).joinpath("pyproject.toml").exists():
    __path__.append(str(_checkout))
