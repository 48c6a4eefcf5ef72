"""Imported once by the process from which the disposable children are forked: with everything loaded and every kernel
called, a child starts in milliseconds. Import it for that effect only."""

from meshcheck import service, warmup

for _name, run in warmup.kernels():
    run()

__all__ = ["service"]
