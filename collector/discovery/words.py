"""Words of the trade in several languages, and what they stand for.

common practice, no source: all of them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

QUANTITIES: Final = frozenset(
    {"temperature", "pressure", "difference", "vacuum", "speed", "current", "torque", "power", "energy",
     "flow", "level", "weight", "vibration", "angle", "gap", "moisture", "output"}
)  # fmt: skip

PLACES: Final = frozenset(
    {"extruder", "main", "filter", "pump", "die", "head", "doser", "dryer", "pelletizer", "knife", "water",
     "discharge", "wiper", "hydraulics", "vent", "throat", "room", "product", "line", "air", "cooling",
     "tank", "tip"}
)  # fmt: skip
"""What says of which machine, or of which part of one, something is."""

# English, German, Spanish, Italian. ``word*``: the beginning of a word; ``*word*``: a part of a compound.
_WORDS: Final[Mapping[str, str]] = {
    "temperature": "t temp* temperature* tmp *temperatur* warmegrad",
    "pressure": "p press* pressure* *druck* presion* pression* prs",
    "difference": "dp delta* diff* *differenz* diferencia*",
    "vacuum": "vacuum* *vakuum* vacio* vuoto* unterdruck*",
    "speed": "n speed* rpm rev revs *drehzahl* velocid* velocita* giri revoluciones *geschwindigkeit*",
    "current": "current* curr amp amps ampere* *strom* corriente* intensidad* corrente* motorstrom*",
    "torque": "torque* *drehmoment* moment par coppia* *auslastung* load",
    "power": "power* *leistung* potencia* potenza*",
    "energy": "energy* *energie* energia* kwh verbrauch* consumption* consumo*",
    "flow": "flow* *durchfluss* *durchsatz* *volumenstrom* *massenstrom* caudal* portata* throughput* rate "
    "*dosierleistung* *forderleistung* *foerderleistung* produccion* flujo*",
    "level": "level* *fullstand* *fuellstand* *niveau* nivel* livello*",
    "weight": "weight* *gewicht* peso* scale *waage* bascula* bilancia* mass",
    "vibration": "vibr* vibration* *schwing* vibracion* vibrazion*",
    "angle": "angle* *winkel* angulo* angolo*",
    "gap": "gap *spalt* hueco* fessura* *zustellung* travel",
    "moisture": "moisture* humid* *feuchte* humedad* umidita*",
    "output": "output* out *stellgrad* *stellgrosse* *stellgroesse* *heizleistung* duty cv uscita salida",
    "set": "set sp setpoint* soll* *sollwert* consigna* impostat* setvalue* *vorgabe* target* w",
    "actual": "actual* act ist* *istwert* pv real* effettiv* measured* valor* value* val medid* misurat*",
    "extruder": "barrel* *zylinder* cilindro* extruder* extrusora* extrusor* estrusor* extr ext ex",
    "screw": "screw* *schnecke* husillo* vite* tornillo* usillo*",
    "main": "main *haupt* principal* principale*",
    "drive": "drive* motor* *antrieb* accionamiento* azionamento* motore*",
    "filter": "filter* *sieb* screen* filtro* tamiz* malla* setaccio* *siebwechsler*",
    "pump": "pump* *pumpe* bomba* pompa*",
    "die": "die *lochplatte* *duse* *duese* matriz* hilera* filiera* *dusenplatte*",
    "head": "head *kopf* cabezal* testa*",
    "plate": "plate* *platte* placa* piastra*",
    "zone": "zone* *zone* zona* barrel* *zylinder* cilindro* hz heizzone* zn",
    "heater": "heat* *heiz* resistencia* riscald*",
    "doser": "doser* *dosier* dosificador* dosator* feeder* feed alimentador* alimentator* doseur*",
    "hopper": "hopper* *trichter* tolva* tramoggia* silo*",
    "dryer": "dryer* drier* *trockner* secador* essiccator* centrifug* *zentrifuge*",
    "pelletizer": "pelletizer* pelletiser* *granul* granulador* granulatore* cutter* cortador* taglierina*",
    "knife": "knife* knives* blade* *messer* cuchilla* coltell* lama lame",
    "water": "water* *wasser* agua* acqua*",
    "process": "process* *prozess* proceso* processo*",
    "supply": "supply *vorlauf* ida impulsion* mandata*",
    "return": "return* *rucklauf* *ruecklauf* retorno* ritorno*",
    "discharge": "discharge* *austrag* descarga* scarico* *ausschleus*",
    "wiper": "wiper* scraper* *schaber* *abstreifer* rascador* raschiator*",
    "hydraulics": "hydraul* *hydraul* hidraul* idraul* oil* *ol aceite* olio*",
    "vent": "vent* degas* *entgas* desgas* degass* venteo*",
    "throat": "throat* *einzug* garganta* bocca",
    "tip": "tip *spitze* punta*",
    "melt": "melt* *masse* *schmelze* masa fusion* fuso fusa massa",
    "before": "before upstream* inlet* vor vorn davor eintritt* antes entrada* prima ingresso* monte pre",
    "after": "after downstream* outlet* salida uscita nach danach austritt* despues dopo valle post",
    "contact": "contact* *anpress* apriete* contatto*",
    "room": "room* hall *halle* nave sala ambient* ambiente* umgebung* reparto*",
    "product": "product *produkt* producto* prodotto*",
    "line": "line* *linie* linea* *anlage* gesamt*",
    "air": "air *luft* aire aria compressed*",
    "cooling": "cool* *kuhl* *kuehl* refriger* enfriam* raffredd*",
    "tank": "tank* *behalter* *behaelter* deposito* serbatoio*",
    "exhaust": "exhaust* *abluft* escape* scarto*",
}

_COUNTED: Final = {"zone", "plate", "vent"}
_NUMBERS: Final = {"nr", "no", "num", "number"}
_PARTS: Final = re.compile(r"[a-z]+|\d+")


@dataclass(frozen=True, slots=True)
class Said:
    """What a text says.

    Attributes:
        concepts: what its words stand for.
        number: the place number in it; None where it has none, or several that it may be.
    """

    concepts: frozenset[str]
    number: int | None = None


def read_words(texts: Iterable[str]) -> Said:
    """What some texts about one thing say together; the first number beside a zone's word counts.

    Example:
        >>> said = read_words(["Massedruck vor Sieb"])
        >>> sorted(said.concepts)
        ['before', 'filter', 'melt', 'pressure']
        >>> read_words(["HeizzoneTemp_03"]).number
        3
    """
    concepts: set[str] = set()
    beside: list[int] = []
    others: set[int] = set()
    for text in texts:
        before: frozenset[str] = frozenset()
        counts = True
        for part in _PARTS.findall(_folded(text)):
            if part.isdigit():
                beside += [int(part)] if before & _COUNTED else []
                others |= {int(part)} if counts else set()
                continue
            told = _of_word(part)
            # What an unknown word counts, as in DB10, is no place.
            counts = bool(told) or part in _NUMBERS
            before = told or before
            concepts |= told
    number = beside[0] if len(set(beside)) == 1 else None
    if not beside and len(others) == 1:
        number = others.pop()
    return Said(frozenset(concepts), number)


def same_words(text: str) -> str:
    """A text without its numbers, for comparing what people call things.

    Example:
        >>> same_words("Heizplatte 3") == same_words("Heizplatte 11")
        True
    """
    return " ".join(re.findall(r"[^\W\d_]+", text.casefold()))


def _folded(text: str) -> str:
    """Words apart, in lower case, without accents."""
    parted = re.sub(r"(?<=[a-zà-ÿ0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", text)
    plain = unicodedata.normalize("NFKD", parted.replace("ß", "ss").replace("\u0131", "i"))
    return "".join(c for c in plain if not unicodedata.combining(c)).lower()


@lru_cache(maxsize=10_000)
def _of_word(word: str) -> frozenset[str]:
    return frozenset(c for c, patterns in _COMPILED.items() if patterns.fullmatch(word))


def _pattern(word: str) -> str:
    return re.escape(word.strip("*")).join(
        [".*" if word.startswith("*") else "", ".*" if word.endswith("*") else ""]
    )


_COMPILED: Final = {
    concept: re.compile("|".join(_pattern(w) for w in words.split())) for concept, words in _WORDS.items()
}
