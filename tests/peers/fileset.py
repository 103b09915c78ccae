#!/usr/bin/python3
"""A media folder as pydicom sees it, one JSON document on standard output.

  fileset.py read FOLDER     the file-set by its DICOMDIR: every instance is found by the offsets, its file is read, and its UIDs and patient are compared
                             with its records; "wrong" says what does not agree, orphaned records and warnings too.
  fileset.py records FILE    the records of a DICOMDIR: for each, under its type and key, the elements but those of the linkage.

Nothing of the product is used here.
"""
import json
import os
import re
import sys
import warnings

import pydicom
from pydicom.fileset import FileSet

LINKAGE = {0x00041400, 0x00041410, 0x00041420}
KEYS = {"PATIENT": "PatientID", "STUDY": "StudyInstanceUID", "SERIES": "SeriesInstanceUID", "IMAGE": "ReferencedSOPInstanceUIDInFile"}


def read(folder):
    wrong, files = [], []
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        file_set = FileSet()
        file_set.load(os.path.join(folder, "DICOMDIR"), include_orphans=False, raise_orphans=True)
        for instance in file_set:
            path = os.path.relpath(instance.path, folder)
            if not all(re.fullmatch("[A-Z0-9_]{1,8}", part) for part in path.split(os.sep)) or len(path.split(os.sep)) > 8:
                wrong.append(f"{path}: no File ID of PS3.10 8.2")
            data_set = instance.load()
            for keyword in ("SOPInstanceUID", "SOPClassUID", "PatientID", "PatientName", "StudyInstanceUID", "SeriesInstanceUID", "Modality", "StudyDate", "StudyTime"):
                ours = getattr(instance, keyword)
                if str(ours) != str(data_set.get(keyword, "")):
                    wrong.append(f"{path}: {keyword} of its records is not that of the object")
            if str(instance.TransferSyntaxUID) != str(data_set.file_meta.TransferSyntaxUID):
                wrong.append(f"{path}: another transfer syntax")
            files.append({"path": path, "uid": str(instance.SOPInstanceUID), "patient": str(instance.PatientName)})
        listed = {one["path"] for one in files}
        for root, _, names in os.walk(folder):
            for name in names:
                path = os.path.relpath(os.path.join(root, name), folder)
                if path not in listed and path not in ("DICOMDIR", "README.TXT"):
                    wrong.append(f"{path}: in the folder, but not in its DICOMDIR")
    wrong += [str(one.message) for one in told if not issubclass(one.category, (DeprecationWarning, ResourceWarning))]
    return {"id": file_set.ID, "uid": str(file_set.UID), "files": files, "wrong": wrong}


def records(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        directory = pydicom.dcmread(path)
    found = {}
    for record in directory.DirectoryRecordSequence:
        kind = record.DirectoryRecordType
        found[f"{kind} {record[KEYS[kind]].value}"] = {
            str(element.tag): str(element.value) for element in record if int(element.tag) not in LINKAGE
        }
    return found


print(json.dumps({"read": read, "records": records}[sys.argv[1]](sys.argv[2])))
