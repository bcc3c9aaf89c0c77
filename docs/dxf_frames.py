"""Writes cutout/write/frames: what stands round the drawing in a DXF file of each version.

ezdxf makes an empty drawing with one layer; where layers, entities and the handles that follow them go, marks are
left for cutout/write/dxf_file.py to fill in. ezdxf itself takes longer to load than a small job takes to work out.
"""

from __future__ import annotations

import io
import logging
import re
from pathlib import Path

import ezdxf

FRAMES = Path(__file__).parent.parent / "cutout" / "write" / "frames"
VERSIONS = ("R2010", "R12")
_LAYER, _UNIT = "the_only_layer", 4


def frame(version: str) -> str:
    """The frame of a version, its marks in double angle brackets."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    logging.getLogger("ezdxf").setLevel(logging.ERROR)
    try:
        doc = ezdxf.new(version, setup=False, units=_UNIT)
        doc.layers.add(_LAYER)
        doc.audit()
        if version != "R12":
            # The library goes through a set here, whose order changes from run to run.
            for kind in sorted(doc.entitydb.dxf_types_in_use()):
                doc.classes.add_class(kind)
        stream = io.StringIO()
        doc.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
    return _marked(stream.getvalue())


def _marked(text: str) -> str:
    """The file of an empty drawing with marks instead of what belongs to it alone."""
    text = re.sub(r"(\$INSUNITS\n 70\n)\d+\n", r"\1<<unit>>\n", text)
    text = re.sub(r"(\$MEASUREMENT\n 70\n)\d+\n", r"\1<<metric>>\n", text)
    text = re.sub(
        r"(  0\nTABLE\n  2\nLAYER\n(?:  5\n.*\n330\n.*\n100\n.*\n)?) 70\n\d+\n", r"\1 70\n<<count>>\n", text
    )
    layer = re.search(rf"  0\nLAYER\n(?:(?!  0\n).*\n.*\n)*?  2\n{_LAYER}\n(?:(?!  0\n).*\n.*\n)*", text)
    assert layer is not None
    handle = re.search(r"  5\n(.*)\n", layer[0])
    assert handle is not None
    first = int(handle[1], 16)
    seed = re.search(r"\$HANDSEED\n  5\n(.*)\n", text)
    assert seed is not None
    made = layer[0].replace(f"  5\n{handle[1]}\n", "  5\n<<handle>>\n").replace(_LAYER, "<<name>>")
    made = made.replace(" 62\n7\n", " 62\n<<colour>>\n")
    text = text.replace(layer[0], "<<layers>>")
    text = text.replace("  2\nENTITIES\n", "  2\nENTITIES\n<<entities>>")
    # What is numbered after the entities: told by how far behind them it comes.
    for n, number in enumerate(range(first + 1, int(seed[1], 16) + 1)):
        text = re.sub(rf"^(  5|350)\n{number:X}\n", rf"\1\n<<after {n}>>\n", text, flags=re.MULTILINE)
    return f"{first:X}\n{made}\n{text}"


if __name__ == "__main__":
    for version in VERSIONS:
        (FRAMES / f"{version}.txt").write_text(frame(version), "utf-8")
