"""What a tag, a sample and a quality are, and the store that keeps them."""

from historian.embedded.store import EmbeddedStore
from historian.errors import (
    MeltledgerError,
    OutsideWorldAway,
    StoredDataDamaged,
    StoreFull,
    StoreReadOnly,
    UnitMismatch,
    UnknownTag,
    UnknownUnit,
    WrongInput,
)
from historian.event import Event, EventSink
from historian.frame import NS, Frame, Series
from historian.store import Sample, Store
from historian.tags import Tag, TagKind

__all__ = [
    "NS",
    "EmbeddedStore",
    "Event",
    "EventSink",
    "Frame",
    "MeltledgerError",
    "OutsideWorldAway",
    "Sample",
    "Series",
    "Store",
    "StoreFull",
    "StoreReadOnly",
    "StoredDataDamaged",
    "Tag",
    "TagKind",
    "UnitMismatch",
    "UnknownTag",
    "UnknownUnit",
    "WrongInput",
]
