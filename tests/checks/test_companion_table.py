"""The table of OPC 40084 against the published nodesets, and its names against the list of tags.

Source: NodeSet2 files of OPC 40001-1, OPC 40083 and OPC 40084 v2.00, as published by their makers.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from collector.discovery.companion_table import MACHINES, OPC, POINTS, ROWS, Row, Step
from historian.catalogue import CATALOGUE, meaning_of
from historian.tags import check_path, pattern_of

pytestmark = pytest.mark.shared

XML = "{http://opcfoundation.org/UA/2011/03/UANodeSet.xsd}"
HAS_TYPE, HAS_SUBTYPE = "i=40", "i=45"
NOT_HIERARCHICAL = {HAS_TYPE, HAS_SUBTYPE, "i=37", "i=41", "i=39", "i=38"}
ALIASES = {"HasTypeDefinition": HAS_TYPE, "HasSubtype": HAS_SUBTYPE, "HasModellingRule": "i=37"}


ZONES = ("extruder.zone", "filter.plate", "die.zone", "pump.zone")


@dataclass
class Nodesets:
    """Types and what they declare, read from the files by other means than ours."""

    names: dict[str, tuple[str, str]] = field(default_factory=dict)
    below: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    types: dict[str, str] = field(default_factory=dict)
    supertypes: dict[str, str] = field(default_factory=dict)

    def read(self, file: Path) -> None:
        root = ET.parse(file).getroot()
        uris = [OPC, *(u.text or "" for u in root.iterfind(f"{XML}NamespaceUris/{XML}Uri"))]
        aliases = {a.get("Alias", ""): a.text or "" for a in root.iterfind(f"{XML}Aliases/{XML}Alias")}

        def node(text: str) -> str:
            text = ALIASES.get(text, aliases.get(text, text))
            found = re.fullmatch(r"ns=(\d+);(.+)", text)
            return f"{uris[int(found[1])]}|{found[2]}" if found else text

        for element in root:
            if element.get("NodeId") is None:
                continue
            here = node(element.attrib["NodeId"])
            index, name = re.fullmatch(r"(?:(\d+):)?(.*)", element.attrib["BrowseName"]).groups()  # type: ignore[union-attr]
            self.names[here] = (uris[int(index or 0)], name)
            for reference in element.iterfind(f"{XML}References/{XML}Reference"):
                kind, other = node(reference.attrib["ReferenceType"]), node((reference.text or "").strip())
                forward = reference.get("IsForward", "true") != "false"
                if kind == HAS_TYPE:
                    self.types[here] = other
                elif kind == HAS_SUBTYPE and not forward:
                    self.supertypes[here] = other
                elif kind not in NOT_HIERARCHICAL:
                    parent, child = (here, other) if forward else (other, here)
                    self.below[parent].add(child)

    def declared(self, node: str) -> Iterator[str]:
        """What an instance has: its own, and what its type and that one's supertypes declare."""
        yield from self.below.get(node, ())
        kind = self.types.get(node)
        while kind:
            yield from self.below.get(kind, ())
            kind = self.supertypes.get(kind)

    def children_of_type(self, kind: str) -> Iterator[str]:
        found: str | None = kind
        while found:
            yield from self.below.get(found, ())
            found = self.supertypes.get(found)

    def has(self, row: Row) -> bool:
        """Whether the row's path leads somewhere."""
        uri, number = re.fullmatch(r"nsu=(.+);(i=\d+)", MACHINES[row.machine].type).groups()  # type: ignore[union-attr]
        level = list(self.children_of_type(f"{uri}|{number}"))
        for step in row.steps[:-1]:
            level = [below for c in level if self._is(c, step) for below in self.declared(c)]
        return any(self._is(c, row.steps[-1]) for c in level)

    def _is(self, node: str, step: Step) -> bool:
        uri, name = self.names.get(node, ("", ""))
        wanted = step.name.replace("#", "<Nr>").replace("%", "<Nr>")
        return uri == step.uri and (
            name == wanted or (wanted == "*" and bool(re.fullmatch(r"<\w+>_<\w+>", name)))
        )


@pytest.fixture(scope="module")
def nodesets(shared_folder: Path) -> Nodesets:
    found = Nodesets()
    for file in sorted((shared_folder / "opc40084" / "xml").glob("*.xml")):
        found.read(file)
    return found


@pytest.fixture(scope="module")
def shared_folder() -> Path:
    folder = Path(__file__).resolve().parents[3] / "shared"
    if not folder.is_dir():
        pytest.skip(f"{folder} is not there")
    return folder


def test_every_path_of_the_table_is_declared(nodesets: Nodesets) -> None:
    missing = [f"{r.machine}/{'/'.join(s.name for s in r.steps)}" for r in ROWS if not nodesets.has(r)]
    assert missing == []


def test_a_wrong_path_would_be_found(nodesets: Nodesets) -> None:
    row = next(r for r in ROWS if r.tag == "filter.plate.#.temp.pv")
    for place, step in enumerate(row.steps):
        for wrong in (Step(step.uri, f"{step.name}x"), Step("urn:other", step.name)):
            assert not nodesets.has(
                Row(row.machine, (*row.steps[:place], wrong, *row.steps[place + 1 :]), row.tag)
            )


def test_every_machine_type_is_declared(nodesets: Nodesets) -> None:
    for name, machine in MACHINES.items():
        uri, number = re.fullmatch(r"nsu=(.+);(i=\d+)", machine.type).groups()  # type: ignore[union-attr]
        assert nodesets.names[f"{uri}|{number}"] == (uri, f"{name}_InterfaceType")


def test_every_folder_of_points_is_in_the_table() -> None:
    folders = {(r.machine, r.steps[0].name) for r in ROWS if not r.tag}
    assert set(POINTS) <= folders
    assert {name for _, name in folders - set(POINTS)} == {"AdditionalMeasuringDevices"}
    assert {tag for tags in POINTS.values() for tag in tags} <= set(CATALOGUE)


def test_every_known_name_of_the_table_is_in_the_list_of_tags(shared_folder: Path) -> None:
    text = (shared_folder / "domain" / "process.md").read_text(encoding="utf-8")
    listed = _listed(text[text.index("## A. Tag list") : text.index("## B. Fault catalogue")])
    known = {r.tag.replace("#", "1") for r in ROWS if r.tag and meaning_of(r.tag.replace("#", "1"))}
    assert len(known) > 40
    stems = {_stem(tag) for tag in listed}
    unlisted = {t for t in known if _stem(pattern_of(t)) not in stems}
    # A zone has the same four in every machine; the list does not say all of them each time.
    assert {t for t in unlisted if ".1." in t} <= {
        f"{z}.1{end}" for z in ZONES for end in (".out", ".i", ".mode.state")
    }
    # In the list they are in words, or only in the catalogue.
    assert {t for t in unlisted if ".1." not in t} == {"filter.hydraulics.pressure.pv", "pump.power.pv"}


def test_names_that_the_catalogue_has_not_are_paths_and_look_alike() -> None:
    for row in ROWS:
        tag = row.tag.replace("#", "1")
        if tag and meaning_of(tag) is None:
            assert re.search(r"\.(pv|sp|out|i|state|total|calc)$", check_path(tag))


def _listed(section: str) -> set[str]:
    """The tags of the tables' first columns, with ``*`` for the place."""
    found: set[str] = set()
    for line in section.splitlines():
        cell = line.split("|")[1] if line.startswith("| ") else ""
        first = ""
        for name in (n.strip() for n in re.split(r"[,/]", re.sub(r"[*`]{2}|`", "", cell))):
            if re.fullmatch(r"[a-z]+\.[a-z_.*]+", name):
                first = name
                found.add(name)
            elif name.startswith(".") and first:
                # It stands for the last word of the name before, or for its last two.
                found |= {f"{first.rsplit('.', words)[0]}{name}" for words in (1, 2)}
    return {re.sub(r"\.[ijk](?=\.)", ".*", name) for name in found}


def _stem(tag: str) -> str:
    """A tag without its last word where that says only how it is read."""
    return re.sub(r"\.(pv|sp|state|total|calc|on)$", "", tag.removesuffix(".*"))
