"""A named tuple of arrays put on the heap, so that compiled functions hand over one pointer.

A tuple is handed over array by array, seven words each: with the hundred arrays of a network, a lane and its
scratch, handing over took longer to compile than all the arithmetic, and time at every call.
"""

from __future__ import annotations

from typing import Any, TypeVar

from numba import config, njit, types
from numba.core import cgutils
from numba.experimental import structref as untyped
from numba.experimental.jitclass.base import imp_dtor
from numba.extending import intrinsic

T = TypeVar("T")
structref: Any = untyped
utils: Any = cgutils
destroy: Any = imp_dtor


@structref.register
class Held(types.StructRef):
    """The type of what `held` gives: the fields of the tuple, the arrays shared, not copied."""


of: Any = Held


def _held(typing: Any, fields: Any) -> Any:
    """The same attributes as the named tuple `fields`, by reference."""
    kind: Any = of(tuple(zip(fields.fields, fields.types, strict=True)))

    def build(context: Any, builder: Any, _: Any, args: Any) -> Any:
        layout = context.data_model_manager[kind.get_data_type()].get_value_type()
        size = context.get_constant(types.uintp, context.get_abi_sizeof(layout))
        info = context.nrt.meminfo_alloc_dtor(builder, size, destroy(context, builder.module, kind))
        at = builder.bitcast(context.nrt.meminfo_data(builder, info), layout.as_pointer())
        builder.store(utils.get_null_value(layout), at)
        out = context.make_helper(builder, kind)
        out.meminfo = info
        data = structref._Utils(context, builder, kind).get_data_struct(out._getvalue())
        for n, (name, t) in enumerate(zip(fields.fields, fields.types, strict=True)):
            value = builder.extract_value(args[0], n)
            context.nrt.incref(builder, t, value)
            setattr(data, name, value)
        return out._getvalue()

    return kind(fields), build


def _itself(fields: Any) -> Any:
    return fields


held: Any = _itself if getattr(config, "DISABLE_JIT", 0) else intrinsic(_held)


class Handle(untyped.StructRefProxy):
    """A held tuple as the interpreter sees it: something to hand to compiled functions."""


structref.define_boxing(Held, Handle)


@njit(cache=True)
def _hold(fields: Any) -> Any:
    return held(fields)


def hold(fields: T) -> T:
    """A named tuple of arrays made ready for compiled functions, once for all of them; it shares the arrays.
    To the reader it is still the tuple, whose attributes compiled code uses."""
    got: T = _hold(fields)
    return got
