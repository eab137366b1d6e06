"""Runs Python as on another processor: python kernels.py ARGUMENTS

The arithmetic of numpy, scipy and the C library is chosen by the processor. Variables of the
environment choose another one that this machine can run too; the last bits of sums, products
and functions then differ. Names are OpenBLAS's (DYNAMIC_ARCH), numpy's and glibc's own.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys

import numpy as np

WORDS = ("OPENBLAS_CORETYPE", "NPY_DISABLE_CPU_FEATURES", "GLIBC_TUNABLES")


def another() -> dict[str, str] | None:
    """Return the environment of another processor; None where none is known for this one."""
    found = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    machine = platform.machine().lower()
    if machine in ("x86_64", "amd64"):
        # the plain kernels of two generations; those with 512 bits are a third
        core = "Haswell" if {"X86_V4", "AVX512_SKX"} & set(found) else "Nehalem"
    elif machine in ("aarch64", "arm64") and sys.platform == "linux":
        core = "ARMV8"
    else:
        return None
    tuned = "glibc.cpu.hwcaps=-AVX2,-FMA,-AVX512F" if core in ("Haswell", "Nehalem") else ""
    words = dict(zip(WORDS, (core, " ".join(found), tuned), strict=True))
    # one thread sums in another order than several
    return {**os.environ, **{k: v for k, v in words.items() if v}, "OPENBLAS_NUM_THREADS": "1"}


def main() -> int:
    env = another()
    if env is None:
        print(f"No other arithmetic kernel is known for {platform.machine()}; skipped.")
        return 0
    print("As on another processor:", *(f"{k}={env[k]!r}" for k in WORDS if k in env), flush=True)
    return subprocess.run([sys.executable, *sys.argv[1:]], env=env).returncode


if __name__ == "__main__":
    sys.exit(main())
