"""Reading a rig file. Whatever is wrong in it is named by key, value and remedy, in a sentence."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
import types
import typing
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from coincide.errors import BadInput
from coincide.inputs import refuse_unless_ordinary
from coincide.rig.model import FORMAT, VERSION, Rig

LARGEST_FILE_BYTES = 1 << 20
KEY_PARTS_MOST = 12
DEPTH_MOST = 24
# Strings, remarks, bare words, dots, blanks, and whatever else one by one; no character is looked at twice.
_TOKEN = re.compile(r"""\"(?:[^"\\\n]|\\.)*+"?|'[^'\n]*+'?|\#[^\n]*+|[\w-]++|\.|[ \t]++|(?s:.)""")
_Key = int | str


def load_rig(path: str | os.PathLike[str]) -> Rig:
    """Read a rig file. Raises BadInput in a sentence."""
    return parse_rig(read_text(Path(path), "rig"), str(path))


def parse_rig(text: str, name: str = "the rig") -> Rig:
    """Read a rig from TOML text, as a session keeps it. `name` goes before every complaint."""
    return rig_from_tables(parse_toml(text, name), name)


def rig_from_tables(found: Mapping[str, Any], name: str) -> Rig:
    """A rig from what its TOML says. Raises BadInput in a sentence."""
    check_format(found, name, FORMAT, VERSION, "rig")
    try:
        return Rig.model_validate(found)
    except ValidationError as error:
        raise BadInput(describe(error, Rig, name)) from None


def read_text(path: Path, kind: str) -> str:
    """The text of a small file. Raises BadInput in a sentence when there is none to be had."""
    refuse_unless_ordinary(path, f"a {kind} file")
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        hint = " or make one with 'coincide rig new'" if kind == "rig" else ""
        raise BadInput(f"{path} does not exist: check the name{hint}.") from None
    except (OSError, ValueError) as error:
        raise BadInput(
            f"{path!s:.200} cannot be read: {getattr(error, 'strerror', None) or error}."
        ) from None
    if len(content) > LARGEST_FILE_BYTES:
        raise BadInput(f"{path} is larger than 1 MiB: it is no {kind} file.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(f"{path} is not text: it is no {kind} file.") from None


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """The tables of TOML text. Raises BadInput with the line of what is wrong."""
    if not text.strip():
        raise BadInput(f"{name} is empty.")
    _bound(text, name)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        why = str(error).rstrip(".") if isinstance(error, ValueError) else "too deeply nested"
        raise BadInput(f"{name} is not TOML: {why}.{_unquoted(text, why)}") from None


_AT_LINE = re.compile(r"at line (\d+)")
_BARE = re.compile(r"\s*([\w.-]+)\s*=\s*([^\"'\[{#\s][^#]*)")


def _unquoted(text: str, why: str) -> str:
    """The key and what would do, where the line complained of gives a word or a quantity without quotes."""
    line = _AT_LINE.search(why)
    found = _BARE.match(text.splitlines()[int(line[1]) - 1][:200]) if line else None
    if found is None:
        return ""
    return f' Put the value of {found[1]} in quotes: {found[1]} = "{found[2].strip()}".'


def _bound(text: str, name: str) -> None:
    """Refuse what no file of ours has and a parser needs minutes for: keys of many parts, brackets in brackets."""
    if len(text) > LARGEST_FILE_BYTES:
        raise BadInput(f"{name} is larger than 1 MiB: it is none of our files.")
    parts, depth, dotted = 0, 0, False
    for found in _TOKEN.finditer(text):
        token = found[0]
        if token[0] in " \t":
            continue
        if token == ".":
            dotted = parts > 0
            continue
        word = token[0] in "\"'-_" or token[0].isalnum()
        parts = 0 if not word else parts + 1 if dotted else 1
        dotted = False
        depth = max(0, depth + (token in ("[", "{")) - (token in ("]", "}")))
        if parts > KEY_PARTS_MOST or depth > DEPTH_MOST:
            line = text.count("\n", 0, found.start()) + 1
            what = "a key of too many parts" if parts > KEY_PARTS_MOST else "too deeply nested"
            raise BadInput(f"{name} is not TOML that is read here: {what} (line {line}).")


def check_format(found: Mapping[str, Any], name: str, form: str, version: int, kind: str) -> None:
    """Raise BadInput unless the file says it is of this format and of a version known here."""
    if found.get("format") != form:
        raise BadInput(f'{name} is not a {kind} file of coincide: it does not say format = "{form}".')
    has = found.get("version")
    if isinstance(has, int) and not isinstance(has, bool) and has > version:
        raise BadInput(
            f"{name} is of a later coincide ({kind} version {has}; this one reads up to {version}): update "
            "coincide to read it."
        )
    if has != version or isinstance(has, bool):
        raise BadInput(f"{name}: version is {has!r}; {version} was expected.")


def describe(error: ValidationError, model: type[BaseModel], name: str) -> str:
    """The first complaint of a validation as a sentence with key, value and remedy; how many follow it."""
    # An unknown key first: it is often the missing one, misspelt.
    complaints = sorted(error.errors(include_url=False), key=lambda one: one["type"] != "extra_forbidden")
    say = f"{name}: {_complaint(complaints[0], model)}"
    if len(complaints) > 1:
        say += f" ({len(complaints) - 1} more after this one.)"
    return say


def _complaint(error: ErrorDetails, model: type[BaseModel]) -> str:
    keys = _keys(error["loc"])
    path = _path(keys)
    kind, value = error["type"], error.get("input")
    context = error.get("ctx", {})
    if kind == "extra_forbidden":
        known = _known_at(model, error["loc"][:-1])
        close = difflib.get_close_matches(str(keys[-1]), known, n=1, cutoff=0.5)
        hint = f"did you mean '{close[0]}'?" if close else f"known here are {', '.join(known)}."
        return f"{path} is not a key of this table: {hint}"
    if kind == "value_error":
        said = str(context.get("error", "")) or error["msg"]
        names_key = said.split(" ", 1)[0].split(".", 1)[0] in _known_at(model, error["loc"])
        return f"{path}.{said}" if path and names_key else f"{path}: {said}" if path else said
    if kind == "literal_error":
        return _choice(path, value, str(context.get("expected", "")).replace(" or ", ", "))
    if kind == "union_tag_invalid":
        return _choice(f"{path}.kind", context.get("tag"), str(context.get("expected_tags", "")))
    if kind == "union_tag_not_found":
        kinds = "'focal-plane', 'leaf', 'electronic', 'electronic-first-curtain'"
        if isinstance(value, dict):
            return f"{path}.kind is missing; expected: one of {kinds}."
        return f"{path} is {value!r:.60}; expected: a table with 'kind', one of {kinds}."
    expected = _description(model, error["loc"])
    if kind == "missing":
        return f"{path} is missing; expected: {expected or 'this key'}."
    return f"{path} is {value!r:.60}; expected: {expected or error['msg']}."


def _choice(path: str, value: object, expected: str) -> str:
    words = [word.strip().strip("'") for word in expected.split(",")]
    close = difflib.get_close_matches(str(value), words, n=1, cutoff=0.5) if isinstance(value, str) else []
    hint = f" Did you mean '{close[0]}'?" if close else ""
    listed = ", ".join(f"'{word}'" for word in words)
    return f"{path} is {value!r:.60}; expected: one of {listed}.{hint}"


def _keys(location: Sequence[_Key]) -> list[_Key]:
    """The location as it is in the file: a shutter's kind, which the validator puts in, taken out."""
    kinds = ("focal-plane", "leaf", "electronic", "electronic-first-curtain")
    return [
        key for at, key in enumerate(location) if at == 0 or location[at - 1] != "shutter" or key not in kinds
    ]


def _path(keys: Sequence[_Key]) -> str:
    path = ""
    for key in keys:
        path += f"[{key}]" if isinstance(key, int) else (f".{key}" if path else key)
    return path


def _models(annotation: object) -> list[type[BaseModel]]:
    """Every model an annotation can hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if typing.get_origin(annotation) in (typing.Union, types.UnionType, typing.Annotated, dict, tuple):
        return [model for part in typing.get_args(annotation) for model in _models(part)]
    return []


def _models_at(model: type[BaseModel], location: Sequence[_Key]) -> list[type[BaseModel]]:
    """The models a location can lead to, following aliases; a key that is no field picks among kinds."""
    here = [model]
    for key in location:
        fields = [
            field
            for candidate in here
            for field_name, field in candidate.model_fields.items()
            if key in (field.alias or field_name, field_name)
        ]
        if fields:
            here = [found for field in fields for found in _models(field.annotation)]
        else:
            of_kind = [found for found in here if key in typing.get_args(_kind_of(found))]
            here = of_kind or here
    return here


def _kind_of(model: type[BaseModel]) -> object:
    field = model.model_fields.get("kind")
    return None if field is None else field.annotation


def _known_at(model: type[BaseModel], location: Sequence[_Key]) -> list[str]:
    return [
        field.alias or name
        for found in _models_at(model, location)
        for name, field in found.model_fields.items()
    ]


def _description(model: type[BaseModel], location: Sequence[_Key]) -> str:
    """What the field at a location says it expects; the last key may be an index into it."""
    keys = list(location)
    while keys:
        for found in _models_at(model, keys[:-1]):
            for name, field in found.model_fields.items():
                if keys[-1] in (field.alias or name, name) and field.description:
                    return field.description
        keys.pop()
    return ""
