"""A named tuple of arrays put on the heap, so that compiled functions hand over one pointer.

A tuple is handed over array by array, seven words each: with the hundred arrays of a network, a lane and its
scratch, handing over took longer to compile than all the arithmetic, and time at every call.
"""

from __future__ import annotations

from hashlib import md5
from typing import Any, TypeVar

from numba import config, njit
from numba import types as untyped_types
from numba.core import cgutils
from numba.experimental import structref as untyped
from numba.experimental.jitclass.base import imp_dtor
from numba.extending import intrinsic, lower_getattr_generic

T = TypeVar("T")
structref: Any = untyped
utils: Any = cgutils
types: Any = untyped_types
destroy: Any = imp_dtor
lowering: Any = lower_getattr_generic


@structref.register
class Held(untyped_types.StructRef):
    """The type of what `held` gives: the fields of the tuple, the arrays shared, not copied.

    It goes by a short name: spelt out, its hundred fields stand in the name of every compiled function."""

    def __init__(self, fields: Any) -> None:
        super().__init__(fields)  # type: ignore[no-untyped-call]
        self.name = f"Held_{md5(self.name.encode(), usedforsecurity=False).hexdigest()[:16]}"


of: Any = Held


def _bare(context: Any, builder: Any, t: Any, value: Any) -> Any:
    """A value with its arrays belonging to nobody, which the compiler is shown: it leaves out counting."""
    if isinstance(t, types.Array):
        array = context.make_array(t)(context, builder, value)
        array.meminfo = utils.get_null_value(array.meminfo.type)
        array.parent = utils.get_null_value(array.parent.type)
        return array._getvalue()
    for n, inner in enumerate(t) if isinstance(t, types.BaseTuple) else ():
        part = _bare(context, builder, inner, builder.extract_value(value, n))
        value = builder.insert_value(value, part, n)
    return value


def _looked_up(context: Any, builder: Any, kind: Any, value: Any, name: str) -> Any:
    data = structref._Utils(context, builder, kind).get_data_struct(value)
    return _bare(context, builder, kind.field_dict[name], getattr(data, name))


lowering(Held)(_looked_up)  # after `register`: this one is found first


def _arrays(t: Any) -> int:
    """How many arrays there are in a type, tuples in tuples included."""
    if isinstance(t, types.Array):
        return 1
    return sum(_arrays(x) for x in t) if isinstance(t, types.BaseTuple) else 0


def _held(typing: Any, fields: Any) -> Any:
    """The same attributes as the named tuple `fields`, by reference.

    Every array in it is owned by one more attribute, and what is looked up is the bare array, so that no look
    takes a reference and gives it back: two operations of the processor that wait for memory, 40 % of all
    time at 60 parts. Whoever makes one and looks up an array as the last thing done with it says `keep`."""
    owner = types.MemInfoPointer(types.voidptr)
    owners = types.UniTuple(owner, _arrays(fields))
    names = (*fields.fields, "owned_by_it")
    kind: Any = of(tuple(zip(names, (*fields.types, owners), strict=True)))

    def build(context: Any, builder: Any, _: Any, args: Any) -> Any:
        layout = context.data_model_manager[kind.get_data_type()].get_value_type()
        size = context.get_constant(types.uintp, context.get_abi_sizeof(layout))
        info = context.nrt.meminfo_alloc_dtor(builder, size, destroy(context, builder.module, kind))
        at = builder.bitcast(context.nrt.meminfo_data(builder, info), layout.as_pointer())
        builder.store(utils.get_null_value(layout), at)
        out = context.make_helper(builder, kind)
        out.meminfo = info
        data = structref._Utils(context, builder, kind).get_data_struct(out._getvalue())
        owned: list[Any] = []

        def own(t: Any, value: Any) -> None:
            if isinstance(t, types.Array):
                owned.append(context.make_array(t)(context, builder, value).meminfo)
                context.nrt.incref(builder, owner, owned[-1])
            for n, inner in enumerate(t) if isinstance(t, types.BaseTuple) else ():
                own(inner, builder.extract_value(value, n))

        own(fields, args[0])
        for n, (name, t) in enumerate(zip(fields.fields, fields.types, strict=True)):
            setattr(data, name, _bare(context, builder, t, builder.extract_value(args[0], n)))
        data.owned_by_it = context.make_tuple(builder, owners, owned)
        return out._getvalue()

    return kind(fields), build


def _keep(typing: Any, kind: Any) -> Any:
    """Something held is alive until here."""

    def build(context: Any, builder: Any, _: Any, args: Any) -> Any:
        return context.get_dummy_value()

    return types.void(kind), build


def _itself(fields: Any) -> Any:
    return fields


held: Any = _itself if getattr(config, "DISABLE_JIT", 0) else intrinsic(_held)
keep: Any = _itself if getattr(config, "DISABLE_JIT", 0) else intrinsic(_keep)


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
