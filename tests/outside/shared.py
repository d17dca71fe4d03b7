"""What several workers of pytest need, made by one of them."""

import contextlib
import fcntl
import os
import shutil


@contextlib.contextmanager
def alone(path):
    """Holds a lock file; another process that wants the same waits."""
    with open(path, "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def common_folder(tmp_path_factory):
    """A folder of this run of the checks; under pytest-xdist the one above the workers' own.

    Source: pytest-xdist's documentation, "Making session-scoped fixtures execute only once".
    """
    folder = tmp_path_factory.getbasetemp()
    return folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder


def made_once(folder, make):
    """Has a folder filled by whoever comes first; what a failed try left behind is made anew."""
    done = folder.with_name(f"{folder.name}.done")
    with alone(folder.with_name(f"{folder.name}.lock")):
        if not done.exists():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            make(folder)
            done.touch()
    return folder
