"""The independent servers: dcmtk's worklist and receiver, and Orthanc, each on a free port of 127.0.0.1 and ended by its process ID."""
import json
import os
import socket
import subprocess
import time

START_LIMIT = 60


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


class Peers:
    def __init__(self, folder, loopbind_source):
        self.folder = folder
        self.processes = []
        # None of them has an option to listen on the loopback alone.
        self.preload = os.path.join(folder, "loopbind.so")
        subprocess.run(["gcc", "-shared", "-fPIC", "-O2", "-o", self.preload, loopbind_source, "-ldl"], check=True)

    def start(self, program, arguments, port):
        log = open(os.path.join(self.folder, os.path.basename(program) + ".log"), "wb")
        process = subprocess.Popen([program, *arguments], stdin=subprocess.DEVNULL, stdout=log, stderr=log, env={**os.environ, "LD_PRELOAD": self.preload})
        log.close()
        self.processes.append(process)
        deadline = time.monotonic() + START_LIMIT
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                return port
            except OSError:
                if process.poll() is not None or time.monotonic() > deadline:
                    raise SystemExit(f"{program} does not accept on port {port}; see {log.name}") from None
                time.sleep(0.02)

    def worklist(self, database):
        port = free_port()
        return self.start("wlmscpfs", ["-dfp", database, "-csk", str(port)], port)

    def receiver(self, archive):
        os.makedirs(archive)
        port = free_port()
        return self.start("storescp", ["+B", "-od", archive, "+xa", "-aet", "CONFSTORE", "--fork", str(port)], port)

    def orthanc(self):
        web, dicom = free_port(), free_port()
        storage = os.path.join(self.folder, "orthanc")
        os.makedirs(storage)
        configuration = os.path.join(self.folder, "orthanc.json")
        with open(configuration, "w", encoding="utf-8") as file:
            json.dump({
                "Name": "CONFORMANCE", "StorageDirectory": storage, "IndexDirectory": storage, "HttpPort": web, "RemoteAccessAllowed": False,
                "AuthenticationEnabled": False, "DicomAet": "CONFORTHANC", "DicomPort": dicom, "DicomCheckCalledAet": True, "DicomAlwaysAllowStore": True,
                "DefaultEncoding": "Utf8", "Plugins": ["/usr/share/orthanc/plugins/libOrthancDicomWeb.so"],
                "DicomWeb": {"Enable": True, "Root": "/dicom-web/", "EnableWado": True},
            }, file)
        self.start("/usr/sbin/Orthanc", [configuration], web)
        return web, dicom

    def stop(self):
        for process in self.processes:
            if process.poll() is None:
                process.terminate()
        for process in self.processes:
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
