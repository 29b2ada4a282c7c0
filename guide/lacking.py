"""What to say where a package is missing: the command that installs it into the Python that runs."""

import re
import shlex
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, requires

_REQUIREMENT = re.compile(r"\s*([^;]+?)\s*;.*\bextra\s*==\s*['\"]([\w-]+)['\"]")


def lacking(package: str, command: str) -> str:
    """A sentence for a package that a command misses, the same for a checkout and an installed wheel.

    The packages of the extra are named one by one, as this program's own metadata lists them: its name alone might be
    looked up where it was never published.
    """
    extra = "gateway" if command == "serve" else "desk"
    wanted = packages_of(extra)
    install = [sys.executable or "python3", "-m", "pip", "install", *(wanted or ["-e", f".[{extra}]"])]
    told = subprocess.list2cmdline(install) if sys.platform == "win32" else shlex.join(install)
    return f"this needs the package {package} of the extra {extra!r}. Install it with: {told}"


def packages_of(extra: str) -> list[str]:
    """What an extra brings, as this program's metadata has it; empty where it isn't installed at all."""
    try:
        listed = requires("wadeline") or []
    except PackageNotFoundError:
        return []
    found = [match for line in listed if (match := _REQUIREMENT.match(line))]
    return [match[1] for match in found if match[2] == extra]
