"""The compiler of the numerical loops, without what it does twice; what the loops compute stays the same to the bit.

It optimises each loop by itself and again within those that call it, and makes machine code of both. It finds the types
of every single operation among all that the operator may be applied to, texts and lists included. Before it takes up
machine code that is kept on disk it loads all that compiling anew would need, a linear algebra among it. Leaving that
out takes parts of the compiler that may change, so it is done only for versions it has been tried with.
"""

import ctypes
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from numba import _dynfunc
from numba.core.caching import FunctionCache
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_lock import global_compiler_lock
from numba.core.compiler_machinery import register_pass
from numba.core.runtime import rtsys
from numba.core.typed_passes import NativeLowering, NopythonRewrites
from numba.core.types.functions import BaseFunction
from numba.core.untyped_passes import InlineClosureLikes

Types = tuple[Any, ...]

ON_ARRAYS = frozenset({InlineClosureLikes, NopythonRewrites})
"""Steps that look for sums of whole arrays, for lists and arrays written as a loop, and for functions within loops."""

_types_known: dict[tuple[Any, Types], Any] = {}


@contextmanager
def operators_remembered() -> Iterator[None]:
    """While it lasts, what an operator or a function of a library makes of given types is found out once."""
    with global_compiler_lock:
        find_out = BaseFunction.get_call_type

        def known(function: Any, context: Any, args: Types, kws: Mapping[str, Any]) -> Any:
            if kws:
                return find_out(function, context, args, kws)
            key = function, tuple(args)
            if key not in _types_known:
                _types_known[key] = find_out(function, context, args, kws)
            return _types_known[key]

        BaseFunction.get_call_type = known
        try:
            yield
        finally:
            BaseFunction.get_call_type = find_out


class _Whole(JITCodeLibrary):
    """Code of a loop, optimised once, when all that it calls has been linked in."""

    def _optimize_functions(self, module: Any) -> None:
        module.data_layout = self._codegen._data_layout

    def _optimize_final_module(self) -> None:
        passes, builder = self._codegen._module_pass_manager()
        passes.run(self._final_module, builder)


class _Part(_Whole):
    """Code of a loop for others to take in before they are optimised: no machine code is made of it alone."""

    def _optimize_final_module(self) -> None:
        pass

    def _finalize_final_module(self) -> None:
        self._finalize_dynamic_globals()
        self._finalized = True


@register_pass(mutates_CFG=False, analysis_only=True)
class _LoweredAsWhole(NativeLowering):
    _name = "lowered_as_whole"

    def run_pass(self, state: Any) -> bool:
        state.library = _Whole(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        return bool(super().run_pass(state))


@register_pass(mutates_CFG=False, analysis_only=True)
class _LoweredAsPart(NativeLowering):
    _name = "lowered_as_part"

    def run_pass(self, state: Any) -> bool:
        state.library = library = _Part(state.targetctx.codegen(), state.func_id.func_qualname)
        state.flags.no_compile = True
        super().run_pass(state)
        library.finalize()
        made = state.cr
        # From Python a call ends at a function that raises TypeError whatever it is given.
        address = ctypes.cast(ctypes.pythonapi.PyErr_BadArgument, ctypes.c_void_p).value
        name = state.func_id.func_name
        entry = _dynfunc.make_function(made.fndesc.lookup_module(), name, "", address, made.env, (library,))
        state.targetctx.insert_user_function(entry, made.fndesc, [library])
        state.reload_init.extend(library._reload_init)
        state["cr"] = made._replace(cfunc=entry)
        return True


class OperatorsRemembered(CompilerBase):
    """Compiles as always, but for what operators make of types."""

    lowering: type = NativeLowering
    needless: Collection[type] = ()

    def compile_extra(self, func: Any) -> Any:
        with operators_remembered():
            return super().compile_extra(func)

    def define_pipelines(self) -> list[Any]:
        passes = DefaultPassBuilder.define_nopython_pipeline(self.state)
        passes.passes = [
            (self.lowering if step is NativeLowering else step, name)
            for step, name in passes.passes
            if step not in self.needless
        ]
        passes.finalize()
        return [passes]


class OptimisedOnce(OperatorsRemembered):
    """Compiles a loop that may be called from Python and makes no arrays."""

    lowering = _LoweredAsWhole
    needless = ON_ARRAYS


class TakenIn(OperatorsRemembered):
    """Compiles a loop that only other loops call, and makes no arrays."""

    lowering = _LoweredAsPart
    needless = ON_ARRAYS


class _KeptCode(FunctionCache):
    """What is kept on disk of a loop."""

    def load_overload(self, sig: Types, target_context: Any) -> Any:
        # All that finished code calls; a compilation loads what it needs when it begins.
        rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)


def take_up_quickly(loop: Any) -> None:
    """Let a loop, whose code is to be kept on disk, be taken up from there without what only compiling needs."""
    if hasattr(loop, "enable_caching"):  # nothing is compiled where numba is told so from outside
        loop._cache = _KeptCode(loop.py_func)
