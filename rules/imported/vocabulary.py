"""How panels name the columns of an alarm list and the states in it, in several tongues.

common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

HEADINGS: Final[Mapping[str, frozenset[str]]] = {
    "number": frozenset({
        "number", "no", "no.", "nr", "nr.", "num", "id", "alarm number", "alarm no", "alarm no.",
        "alarm id", "alarm nr", "alarmnummer", "alarm-nr", "alarm-nr.", "meldenummer", "meldungsnummer",
        "code", "alarm code", "número", "numero", "n.º", "nº", "numéro", "message number", "msgnumber",
    }),
    "text": frozenset({
        "text", "message", "alarm text", "alarmtext", "meldetext", "meldung", "meldungstext", "mensaje",
        "texto", "texte", "description", "beschreibung", "descripción", "descripcion", "alarm",
        "message text", "msgtext", "alarm message", "texto de alarma",
    }),
    "state": frozenset({
        "state", "status", "zustand", "estado", "état", "etat", "event", "ereignis", "evento", "transition",
        "alarm state", "event type", "stateafter", "statechange",
    }),
    "class": frozenset({
        "class", "klasse", "clase", "meldeklasse", "category", "kategorie", "categoría", "alarm class",
        "type", "typ", "tipo", "priority", "priorität", "prioridad", "msgclass",
    }),
    "severity": frozenset({
        "severity", "schweregrad", "severidad", "gravedad",
    }),
    "area": frozenset({
        "area", "bereich", "área", "source", "quelle", "origen", "group", "gruppe", "grupo", "location",
        "ort", "equipment", "machine", "maschine", "máquina", "maquina", "device", "gerät", "unit",
    }),
    "by": frozenset({
        "user", "benutzer", "usuario", "operator", "bediener", "operador", "by", "acknowledged by",
    }),
    "came": frozenset({
        "came", "come", "raised", "on", "start", "begin", "beginn", "kommt", "gekommen", "kommen",
        "active time", "time on", "start time", "activation time", "inicio", "entrada", "aparece",
        "incoming",
    }),
    "gone": frozenset({
        "gone", "went", "cleared", "off", "end", "ende", "geht", "gegangen", "gehen", "time off",
        "end time", "return time", "clear time", "fin", "salida", "desaparece", "returned", "outgoing",
    }),
    "acked": frozenset({
        "ack", "acked", "acknowledged", "acknowledge", "ack time", "acknowledge time", "acknowledged at",
        "quittiert", "quit", "quittierung", "reconocido", "reconocida", "acuse",
    }),
}  # fmt: skip
"""What a column is → its headings, lower case."""


@dataclass(frozen=True, slots=True)
class Said:
    """What a word in the column of states tells; None where it tells nothing of that.

    Attributes:
        active: whether it is wrong now.
        acked: whether somebody has acknowledged it at the machine.
    """

    active: bool | None = None
    acked: bool | None = None


CAME: Final = Said(active=True, acked=False)
GONE: Final = Said(active=False)
ACKED: Final = Said(acked=True)

NAMED: Final[Mapping[str, Said]] = {
    "come": CAME,
    "gone": GONE,
    "ack": ACKED,
    "come+ack": Said(active=True, acked=True),
    "gone+ack": Said(active=False, acked=True),
}
"""What a mapping may say of a word → what that means."""

_WORDS: Final[Mapping[str, frozenset[str]]] = {
    "come": frozenset({
        "+", "c", "k", "i", "come", "came", "coming", "incoming", "in", "on", "active", "raised", "set",
        "alarm", "kommt", "kommen", "gekommen", "kom", "ein", "activo", "activa", "activada", "activado",
        "aparece", "entrada", "1", "true", "apparition", "unacknowledged", "act/unack",
        "active unacknowledged",
    }),
    "gone": frozenset({
        "-", "g", "o", "cg", "kg", "gone", "went", "going", "outgoing", "out", "off", "inactive", "cleared",
        "clear", "reset", "return", "returned", "rtn", "normal", "ok", "geht", "gehen", "gegangen", "geg",
        "aus", "inactivo", "inactiva", "desaparece", "salida", "0", "false", "disparition", "rtn/unack",
    }),
    "ack": frozenset({
        "*", "a", "q", "ack", "ackn", "acked", "acknowledged", "acknowledge", "quit", "quittiert", "quitt",
        "reconocido", "reconocida", "acuse", "acquitté",
    }),
    "come+ack": frozenset({
        "ca", "ka", "kq", "cq", "act/ack", "active acknowledged",
    }),
    "gone+ack": frozenset({
        "cga", "cag", "kgq", "kqg", "ga", "gq", "rtn/ack",
    }),
}  # fmt: skip


def state_word(word: str) -> str:
    """What a word in the column of states stands for, as ``NAMED`` has it; empty when it is not known.

    Example:
        >>> state_word("Gekommen"), state_word("KG"), state_word("reconocido"), state_word("?")
        ('come', 'gone', 'ack', '')
    """
    low = word.strip().casefold()
    return next((name for name, words in _WORDS.items() if low in words), "")


def heading_word(heading: str) -> str:
    """What a column with this heading is, as ``HEADINGS`` has it; empty when it is not known.

    Example:
        >>> heading_word("Meldetext"), heading_word("Alarm No."), heading_word("x")
        ('text', 'number', '')
    """
    low = " ".join(heading.replace("_", " ").split()).casefold()
    return next((name for name, words in HEADINGS.items() if low in words), "")
