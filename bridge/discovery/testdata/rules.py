"""Reads in the sources of a release of Home Assistant which announcements it takes, and prints that as JSON. Nothing of it
is imported or run, so that any Python reads any release. usage: rules.py FOLDER, which holds homeassistant/"""
import ast
import json
import pathlib
import re
import sys

root = pathlib.Path(sys.argv[1]) / "homeassistant"
mqtt = root / "components" / "mqtt"
constants, enums = {}, {}


def target(node):
    """The name and the value of an assignment, annotated or not."""
    if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        return node.target.id, node.value
    if isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name):
        return node.targets[0].id, node.value
    return None, None


def learn(path):
    """Remembers the texts and the enumerations of a file, and gives its tree."""
    # A newer Python may leave out the brackets of several exceptions.
    text = re.sub(r"^(\s*except )([\w.]+(?:, [\w.]+)+):", r"\1(\2):", path.read_text(), flags=re.M)
    tree = ast.parse(text)
    for node in tree.body:
        name, value = target(node)
        if isinstance(value, ast.Constant) and isinstance(value.value, str):
            constants[name] = value.value
        if isinstance(value, ast.Name) and value.id in constants:
            constants[name] = constants[value.id]
        if isinstance(value, ast.Attribute) and isinstance(value.value, ast.Name) and value.value.id in enums:
            constants[name] = enums[value.value.id].get(value.attr)
        if isinstance(node, ast.ClassDef):
            members = dict(target(inside) for inside in node.body)
            members = {k: v.value for k, v in members.items() if isinstance(v, ast.Constant) and isinstance(v.value, str)}
            if members:
                enums[node.name] = members
    return tree


def values(node):
    """The members of a set as it is written there; None is the empty text."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):  # one.union(other)
        return values(node.func.value) + values(node.args[0])
    if isinstance(node, ast.Call):  # set(AnEnumeration), or an empty set
        return list(enums[node.args[0].id].values()) if node.args else []
    out = []
    for one in node.elts:
        if isinstance(one, ast.Starred):
            out += list(enums[one.value.id].values())
        elif isinstance(one, ast.Attribute):
            out.append(enums[one.value.id][one.attr])
        elif isinstance(one, ast.Name):
            out.append(constants[one.id])
        else:
            out.append(one.value or "")
    return out


def table(tree, name):
    for node in tree.body:
        called, value = target(node)
        if called == name:
            return {enums[k.value.id][k.attr]: values(v) for k, v in zip(value.keys, value.values) if k is not None}
    raise SystemExit(f"{name} is not there")


def keys(text):
    """The keys of the schemas in a text."""
    names = re.findall(r"\b(?:vol|probatio)\.(?:Optional|Required|Exclusive)\(\s*(\w+)", text)
    return sorted({constants[n] for n in names if n in constants})


def schema(text, *names):
    """The text of a schema, by the first of the names that it has had."""
    for name in names:
        found = re.search(rf"^{name} = .*?\n(?=[^\s)\]}}])", text, flags=re.M | re.S)
        if found:
            return found.group(0)
    raise SystemExit(f"none of {names} is there")


version = dict(target(node) for node in learn(root / "const.py").body)
sensor = learn(root / "components" / "sensor" / "const.py")
learn(mqtt / "const.py")
for path in (root / "components" / "binary_sensor" / "__init__.py", root / "components" / "binary_sensor" / "const.py", mqtt / "mixins.py", mqtt / "schemas.py", mqtt / "discovery.py"):
    if path.exists():  # one file or another, by the release
        learn(path)
        if "\nMQTT_ENTITY_COMMON_SCHEMA =" in path.read_text():
            text = path.read_text()
shared = keys((mqtt / "config.py").read_text() + schema(text, "MQTT_ENTITY_COMMON_SCHEMA")
              + schema(text, "_?MQTT_AVAILABILITY_SINGLE_SCHEMA") + schema(text, "_?MQTT_AVAILABILITY_LIST_SCHEMA"))
components = {}
for name in ("sensor", "binary_sensor", "number", "button", "switch", "event"):
    learn(mqtt / f"{name}.py")
    components[name] = sorted(set(keys((mqtt / f"{name}.py").read_text()) + shared))
print(json.dumps({
    "version": ".".join(str(version[n].value) for n in ("MAJOR_VERSION", "MINOR_VERSION", "PATCH_VERSION")),
    "units": table(sensor, "DEVICE_CLASS_UNITS"),
    "state_classes": table(sensor, "DEVICE_CLASS_STATE_CLASSES"),
    "classes": sorted(enums["SensorDeviceClass"].values()),
    "binary_classes": sorted(enums["BinarySensorDeviceClass"].values()),
    "device": keys(schema(text, "_MQTT_DEVICE_INFO_SCHEMA_BASE", "MQTT_ENTITY_DEVICE_INFO_SCHEMA")),
    "origin": keys(schema(text if "\nMQTT_ORIGIN_INFO_SCHEMA =" in text else (mqtt / "discovery.py").read_text(), "MQTT_ORIGIN_INFO_SCHEMA")),
    "components": components,
}, indent=1, ensure_ascii=False))
