#!/usr/bin/python3
"""worklist_web.py FOLDER PORT: the worklist files (*.wl) of a folder, served by DICOMweb on 127.0.0.1.

/modality-scheduled-procedure-steps as PS3.18 chapter 14 (2025e) has it, and the same orders as Unified Procedure Steps at /workitems (chapter 11). Nothing of this
project has a hand in it: pydicom reads the files, matches, and writes the DICOM JSON. Matching is that of PS3.4 section C.2.2.2 as far as needed here: single values,
ranges of dates, keys in sequences by tags joined by dots. Only what is asked for by a match parameter or includefield comes back, but for the keys that are always there.
Pages by limit and offset, at most 2 at a time; Warning 299 where there are more (section 8.3.4.4).
"""
import glob
import http.server
import json
import os
import sys
import urllib.parse

from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.tag import Tag

MOST = 2


def is_in(value, key):
    first, dash, last = key.partition("-")
    return first <= value[:max(len(first), len(last))] <= (last or "99999999999999") if dash else value == key


def fits(item, path, key):
    tag = Tag(int(path[0], 16))
    if tag not in item:
        return False
    if len(path) > 1:
        return any(fits(one, path[1:], key) for one in item[tag].value)
    value = item[tag].value
    return any(is_in(str(one), key) for one in (value if item[tag].VM > 1 else [value]))


def order_of(path):
    order = dcmread(path, force=True)
    order.decode()
    return order


def workitem_of(order):
    step = order.ScheduledProcedureStepSequence[0]
    item = Dataset()
    item.SOPClassUID, item.SOPInstanceUID = "1.2.840.10008.5.1.4.34.6.1", order.StudyInstanceUID + ".1"
    for keyword in ("PatientName", "PatientID", "IssuerOfPatientID", "PatientBirthDate", "PatientSex", "StudyInstanceUID"):
        if keyword in order:
            setattr(item, keyword, getattr(order, keyword))
    item.ScheduledProcedureStepStartDateTime = step.ScheduledProcedureStepStartDate + (step.ScheduledProcedureStepStartTime or "120000")
    item.ProcedureStepState, item.ScheduledProcedureStepPriority = "SCHEDULED", "MEDIUM"
    item.ProcedureStepLabel = str(step.get("ScheduledProcedureStepDescription", "") or "Pictures")
    station = Dataset()
    station.CodeValue, station.CodingSchemeDesignator, station.CodeMeaning = step.ScheduledStationAETitle, "99TEST", "Camera"
    item.ScheduledStationNameCodeSequence = [station]
    request = Dataset()
    request.StudyInstanceUID, request.AccessionNumber = order.StudyInstanceUID, order.AccessionNumber
    request.RequestedProcedureID = order.get("RequestedProcedureID", "")
    item.ReferencedRequestSequence = [request]
    return item


class Worklist(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self):
        url = urllib.parse.urlsplit(self.path)
        query = urllib.parse.parse_qsl(url.query, strict_parsing=True)
        orders = [order_of(path) for path in sorted(glob.glob(os.path.join(sys.argv[1], "*.wl")))]
        if url.path == "/workitems":
            orders = [workitem_of(order) for order in orders]
        elif url.path != "/modality-scheduled-procedure-steps":
            self.send_error(404)
            return
        page = {"limit": MOST, "offset": 0}
        asked = set()
        for key, value in query:
            if key in page:
                page[key] = int(value)
            elif key == "includefield":
                asked |= {Tag(int(one, 16)) for one in value.split(",")}
            else:
                path = key.split(".")
                asked.add(Tag(int(path[0], 16)))
                orders = [order for order in orders if fits(order, path, value)]
        end = page["offset"] + min(page["limit"], MOST)
        body = json.dumps([{tag: one for tag, one in order.to_json_dict().items() if Tag(int(tag, 16)) in asked} for order in orders[page["offset"]:end]]).encode()
        self.send_response(200 if orders[page["offset"]:end] else 204)
        self.send_header("Content-Type", "application/dicom+json")
        if end < len(orders):
            self.send_header("Warning", '299 worklist "The number of results exceeded the maximum supported by the server. Additional results can be requested."')
        self.send_header("Content-Length", str(len(body) if orders[page["offset"]:end] else 0))
        self.end_headers()
        if orders[page["offset"]:end]:
            self.wfile.write(body)


http.server.ThreadingHTTPServer(("127.0.0.1", int(sys.argv[2])), Worklist).serve_forever()
