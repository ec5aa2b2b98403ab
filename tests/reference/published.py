"""Compares the published instances in tests/reference/routes, byte for byte, with the archive that they come from.

    python3 tests/reference/published.py

Needs pip and the package index; the archive must be the one that was read (sha256). Ends with 1 when a file differs, and with 2
when the archive could not be had, which says nothing about the files.
"""

import hashlib
import pathlib
import subprocess
import sys
import tarfile
import tempfile

PACKAGE = "pyvrp==0.14.1"
SHA256 = "3e4c4094d4720b0efe88fc73c22cdf732cd487d48e63ea4bfa52010c6a034e0c"
HERE = pathlib.Path(__file__).parent / "routes"
# Name here and path in the archive.
FILES = {name: f"tests/data/{name}" for name in ("RC208.vrp", "p06-2-50.vrp", "PR01.vrp", "PR11A.vrp")} | {
    "LICENSE-instances.md": "LICENSE.md"
}


def fetch(folder):
    """The archive, or none with the reason said."""
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", "pyvrp", "-d", folder, PACKAGE]
    try:
        run = subprocess.run(command, capture_output=True, text=True, timeout=300)
    except subprocess.TimeoutExpired:
        print(f"{PACKAGE} could not be fetched in 300 s")
        return None
    archives = list(pathlib.Path(folder).glob("*.tar.gz"))
    if run.returncode or not archives:
        print(f"{PACKAGE} could not be fetched:", run.stderr.strip().splitlines()[-1:])
        return None
    return archives[0]


def main():
    with tempfile.TemporaryDirectory() as folder:
        archive = fetch(folder)
        if archive is None:
            return 2
        if hashlib.sha256(archive.read_bytes()).hexdigest() != SHA256:
            print(f"{archive.name} is not the archive that was read")
            return 1
        with tarfile.open(archive) as files:
            top = files.getnames()[0].split("/")[0]
            differ = [n for n, path in FILES.items() if files.extractfile(f"{top}/{path}").read() != (HERE / n).read_bytes()]
    print(f"{len(FILES)} files compared with {PACKAGE}, differing: {', '.join(differ) or 'none'}")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
