"""How the search is compiled. Importing numba takes a third of a second: only `faultnet.plan.search` leads here."""

from functools import partial

from numba import njit

called = partial(njit, cache=True, error_model="numpy")
"""For functions that Python calls."""

inner = partial(njit, cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
"""For what only compiled functions call: the wrapper for Python takes longer to compile than most of them."""
