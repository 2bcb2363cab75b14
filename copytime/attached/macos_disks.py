"""Pure parsers of what macOS tells about disks, and the way from a volume down to them.

Sources: the manual pages diskutil(8) (``info -plist``, ``apfs``), hdiutil(1) (``info -plist``) and ioreg(8) (``-a``), and
Apple's IOKit headers IOBlockStorageDriver.h (the keys of 'Statistics') and IOMedia.h ('BSD Name'). Nothing published lists
the keys of ``diskutil info``: they are from memory. Any of them may be missing.
"""

from __future__ import annotations

import plistlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from xml.parsers.expat import ExpatError

from copytime.attached.model import Disk, DiskState, Layer
from copytime.attached.stacks import Stack, side_by_side

__all__ = ["Device", "parse_device", "parse_drivers", "parse_images", "stack_of"]

#: Names that may be handed to a tool: a disk, a slice of it, a snapshot of that.
NAME = re.compile(r"disk[0-9]{1,4}(s[0-9]{1,4}){0,3}")

#: Levels that are followed before something must be going round in a circle.
_DEEPEST = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """What ``diskutil info -plist`` says of one disk, slice or volume.

    ``whole`` is the disk that it is a part of; ``stores`` are the slices that hold the container of an APFS volume.
    """

    name: str
    whole: str | None
    stores: tuple[str, ...] = ()
    container: str | None = None
    bus: str | None = None
    model: str | None = None
    size_bytes: int | None = None
    solid_state: bool | None = None
    encrypted: bool = False
    virtual: bool = False


def _plist(answer: bytes | None) -> Any:
    """Read a property list, None for anything else."""
    if not answer:
        return None
    try:
        return plistlib.loads(answer)
    except (ExpatError, ValueError, TypeError, AttributeError, LookupError, ArithmeticError, RecursionError):
        return None  # plistlib promises no particular error for what is no property list


def _word(found: dict[str, Any], key: str) -> str | None:
    value = found.get(key)
    return value.strip() or None if isinstance(value, str) else None


def _device_name(value: Any) -> str | None:
    """Take a device's name without its folder, if it is one."""
    name = value.removeprefix("/dev/") if isinstance(value, str) else ""
    return name if NAME.fullmatch(name) else None


def parse_device(answer: bytes | None) -> Device | None:
    """Read ``diskutil info -plist``; None where it describes no device."""
    found = _plist(answer)
    if not isinstance(found, dict):
        return None
    name = _device_name(found.get("DeviceIdentifier"))
    if name is None:
        return None
    listed = found.get("APFSPhysicalStores")
    stores = [
        _device_name(store.get("APFSPhysicalStore") or store.get("DeviceIdentifier"))
        for store in (listed if isinstance(listed, list) else [])
        if isinstance(store, dict)
    ]
    sizes = [found.get(key) for key in ("TotalSize", "Size", "IOKitSize")]
    solid = found.get("SolidState")
    return Device(
        name=name,
        whole=_device_name(found.get("ParentWholeDisk")),
        stores=tuple(store for store in stores if store),
        container=_device_name(found.get("APFSContainerReference")),
        bus=_word(found, "BusProtocol"),
        model=_word(found, "MediaName") or _word(found, "IORegistryEntryName"),
        size_bytes=next((size for size in sizes if isinstance(size, int) and size > 0), None),
        solid_state=solid if isinstance(solid, bool) else None,
        encrypted=found.get("FileVault") is True or found.get("Encryption") is True,
        virtual=found.get("VirtualOrPhysical") == "Virtual",
    )


def parse_images(answer: bytes | None) -> dict[str, str]:
    """Read ``hdiutil info -plist``: whole disk -> path of the disk image that it shows."""
    found = _plist(answer)
    images = found.get("images") if isinstance(found, dict) else None
    paths: dict[str, str] = {}
    for image in images if isinstance(images, list) else []:
        path = image.get("image-path") if isinstance(image, dict) else None
        entities = image.get("system-entities") if isinstance(path, str) else None
        for entity in entities if isinstance(entities, list) else []:
            name = _device_name(entity.get("dev-entry")) if isinstance(entity, dict) else None
            if name is not None and path:
                paths[name] = path
    return paths


def parse_drivers(answer: bytes | None) -> dict[str, DiskState]:
    """Read ``ioreg -c IOBlockStorageDriver -r -l -w0 -a``: whole disk -> what may change about it.

    A driver gets a new entry in the registry whenever its disk is attached, so the entry's number tells attachments apart.
    """
    found = _plist(answer)
    states: dict[str, DiskState] = {}
    for driver in found if isinstance(found, list) else []:
        if not isinstance(driver, dict):
            continue
        counted = driver.get("Statistics")
        errors = [counted.get(key) for key in ("Errors (Read)", "Errors (Write)")] if isinstance(counted, dict) else []
        known = [one for one in errors if isinstance(one, int)]
        entry = driver.get("IORegistryEntryID")
        children = driver.get("IORegistryEntryChildren")
        for child in children if isinstance(children, list) else []:
            name = _device_name(child.get("BSD Name")) if isinstance(child, dict) else None
            if name is not None:
                states[name] = DiskState(
                    attachment=str(entry) if isinstance(entry, int) else None, errors=sum(known) if known else None
                )
    return states


def stack_of(
    name: str, device: Callable[[str], Device | None], images: Callable[[], dict[str, str]], *, depth: int = 0
) -> Stack:
    """Walk from a volume down over its container, slices and disk images.

    ``device`` asks for one device, ``images`` for the disk images that are attached.
    """
    here = device(name) if depth <= _DEEPEST else None
    if here is None:
        return Stack(layers=(), disks=())
    crypt = (Layer(kind="crypt", name=here.name),) if here.encrypted else ()
    if here.stores:
        below = side_by_side([stack_of(store, device, images, depth=depth + 1) for store in here.stores], 1)
        return _put_on((*crypt, Layer(kind="container", name=here.container or here.whole or here.name)), below)
    if here.whole is not None and here.whole != here.name:
        below = stack_of(here.whole, device, images, depth=depth + 1)
        return _put_on((*crypt, Layer(kind="partition", name=here.name)), below)
    disk = Disk(
        name=here.name,
        number=here.name,
        model=here.model,
        size_bytes=here.size_bytes,
        rotational=None if here.solid_state is None else not here.solid_state,
        bus=here.bus,
    )
    if here.bus == "Disk Image":
        file = images().get(here.name)
        return Stack(layers=(Layer(kind="loop", name=here.name),), disks=(disk,), files=(file,) if file else ())
    if here.virtual:  # a set of disks that the system keeps itself; which and how is not told here
        return Stack(layers=(Layer(kind="mapper", name=here.name, copies=None),), disks=(disk,), copies=None)
    return Stack(layers=(Layer(kind="disk", name=here.name),), disks=(disk,))


def _put_on(layers: tuple[Layer, ...], below: Stack) -> Stack:
    return Stack(layers=(*layers, *below.layers), disks=below.disks, copies=below.copies, files=below.files)
