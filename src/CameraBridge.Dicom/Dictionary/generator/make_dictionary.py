#!/usr/bin/python3
"""Makes ../dictionary.tsv and ../uids.tsv. Run by hand; the results are kept in the repository.

    apt-get install dcmtk python3-pydicom && /usr/bin/python3 make_dictionary.py

Sources: pydicom's dictionaries (tag, VR, VM, name, retired, keyword), dcmtk's dicom.dic (a row that only it has is taken too, and a
different VR or VM is printed), and additions-2025e.tsv beside this file for what PS3.6 edition 2025e has beyond both.

Rows, sorted, separated by tabs; the first eight characters of a dictionary row are the tag, x for any digit (repeating groups):
    dictionary.tsv  tag  VR[|VR...] or -  VM  R (retired) or -  keyword or -  name
    uids.tsv        uid  type  R or -  keyword or -  name
"""
import glob
import pathlib
import re
import sys

sys.path.insert(0, "/usr/lib/python3/dist-packages")
from pydicom._dicom_dict import DicomDictionary, RepeatersDictionary
from pydicom._uid_dict import UID_dictionary

HERE = pathlib.Path(__file__).parent
# Names that the packages have as "Retired-blank" or not at all: the standard withdrew keyword and name.
BLANK = "Retired-blank"


def pattern(text):
    """'20031xx' style text with upper-case digits and lower-case x."""
    return text.upper().replace("X", "x")


def from_pydicom():
    rows = {}
    tags = [("%08X" % tag, row) for tag, row in DicomDictionary.items()]
    tags += [(pattern(tag), row) for tag, row in RepeatersDictionary.items()]
    for tag, (vr, vm, name, retired, keyword) in tags:
        vr = "-" if vr == "NONE" else vr.replace(" or ", "|")
        rows[tag] = [vr, vm, "R" if retired else "-", keyword or "-", name if keyword else BLANK]
    return rows


def check_against_dcmtk(rows):
    """Says what dicom.dic has differently; its own shorthands (ox, xs, lt, up, na, px) stand for choices and are not compared."""
    path = sorted(glob.glob("/usr/share/libdcmtk*/dicom.dic"))[-1]
    line = re.compile(r"\(([0-9A-Fa-f]{4}),([0-9A-Fa-f]{4})\)\t(\w\w)\t(\S+)\t(\S+)\tDICOM(\S*)$")
    for text in open(path, encoding="utf-8"):
        match = line.match(text.rstrip())
        if not match:
            continue
        tag = (match[1] + match[2]).upper()
        if tag not in rows:
            if "DICONDE" not in match[6] and "DICOS" not in match[6]:
                print("only dcmtk has", text.strip())
        elif match[3].isupper() and (match[3] not in rows[tag][0].split("|") or match[5] != rows[tag][1]):
            print("dcmtk has", match[3], match[5], "for", tag, rows[tag])


def main():
    elements = from_pydicom()
    check_against_dcmtk(elements)
    uids = {uid: [kind, "R" if retired else "-", keyword or "-", name or BLANK]
            for uid, (name, kind, _, retired, keyword) in UID_dictionary.items()}
    for text in open(HERE / "additions-2025e.tsv", encoding="utf-8"):
        if text.startswith("#"):
            continue
        kind, key, *values = text.rstrip("\n").split("\t")
        if kind == "uid":
            uids[key] = values[:4]
        else:
            if (key in elements) != (kind == "changed"):
                sys.exit(f"additions-2025e.tsv: {key} is not {kind}")
            elements[key] = values[:5]
    with open(HERE.parent / "dictionary.tsv", "w", encoding="utf-8", newline="\n") as out:
        out.writelines("\t".join([tag, *row]) + "\n" for tag, row in sorted(elements.items()))
    with open(HERE.parent / "uids.tsv", "w", encoding="utf-8", newline="\n") as out:
        out.writelines("\t".join([uid, *row]) + "\n" for uid, row in sorted(uids.items()))
    retired = sum(row[2] == "R" for row in elements.values())
    print(f"{len(elements)} elements, {retired} retired; {len(uids)} UIDs")


main()
