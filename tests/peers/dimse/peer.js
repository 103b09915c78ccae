'use strict';
// An independent RIS and archive on the loopback, of the npm package dcmjs-dimse: takes objects (C-STORE), performed procedure steps (N-CREATE, N-SET) and
// requests for storage commitment (N-ACTION), and reports (N-EVENT-REPORT) in an association of its own WITHOUT role selection.
// Usage: node peer.js PORT REPORT_PORT. Each line of its output is JSON about one message.
const net = require('net');
const { createHash } = require('crypto');
const { Dataset, Server, Scp, Client, constants, requests, responses, log } = require('dcmjs-dimse');

const [port, reportPort] = process.argv.slice(2).map(Number);
const instance = '1.2.840.10008.1.20.1.1';
const kept = new Set();
const steps = new Map();

log.setLevel('error');
const listen = net.Server.prototype.listen;
net.Server.prototype.listen = function (first, ...rest) {
  return typeof first === 'number' ? listen.call(this, first, '127.0.0.1', ...rest) : listen.call(this, first, ...rest);
};

const tell = (what, about) => process.stdout.write(JSON.stringify({ what, ...about }) + '\n');
const answer = (Response, request, status, callback) => {
  const response = Response.fromRequest(request);
  response.setStatus(status);
  callback(response);
};
// SHA-256 of the encapsulated frames, one after the other: of a JPEG its scans, from the first SOS marker to EOI, else everything.
const hashOf = (frames) => {
  const hash = createHash('sha256');
  for (const frame of listOf(frames)) {
    const bytes = Buffer.from(frame);
    hash.update(bytes.readUInt16BE(0) === 0xffd8 ? bytes.subarray(bytes.indexOf('ffda', 'hex'), bytes.lastIndexOf('ffd9', undefined, 'hex') + 2) : bytes);
  }
  return hash.digest('hex');
};
const listOf = (value) => (value === undefined ? [] : [].concat(value));

function report(transaction, references, to) {
  const good = references.filter((one) => kept.has(one.ReferencedSOPInstanceUID));
  const bad = references.filter((one) => !kept.has(one.ReferencedSOPInstanceUID)).map((one) => ({ ...one, FailureReason: 0x0112 }));
  const request = new requests.NEventReportRequest(constants.SopClass.StorageCommitmentPushModel, instance, bad.length > 0 ? 2 : 1);
  request.setDataset(new Dataset({
    TransactionUID: transaction,
    ...(good.length > 0 && { ReferencedSOPSequence: good }),
    ...(bad.length > 0 && { FailedSOPSequence: bad }),
  }));
  request.on('response', (response) => tell('reported', { status: response.getStatus() }));

  // Its word is given with the report, whether or not the answer to that comes.
  tell('committed', { uids: good.map((one) => one.ReferencedSOPInstanceUID) });
  const client = new Client();
  client.addRequest(request);
  client.on('networkError', (error) => tell('error', { error: String(error) }));
  client.send('127.0.0.1', reportPort, 'PEERDIMSE', to);
}

class Peer extends Scp {
  associationRequested(association) {
    this.association = association;
    for (const { id } of association.getPresentationContexts()) {
      const context = association.getPresentationContext(id);
      context.setResult(constants.PresentationContextResult.Accept, context.getTransferSyntaxUids()[0]);
    }
    this.sendAssociationAccept();
  }

  associationReleaseRequested() {
    this.sendAssociationReleaseResponse();
  }

  cStoreRequest(request, callback) {
    const uid = request.getAffectedSopInstanceUid();
    kept.add(uid);
    tell('stored', { uid, pixels: hashOf(request.getDataset().getElements().PixelData) });
    answer(responses.CStoreResponse, request, 0x0000, callback);
  }

  nCreateRequest(request, callback) {
    const uid = request.getAffectedSopInstanceUid();
    const step = request.getDataset().getElements();
    const status = steps.has(uid) ? 0x0111 : step.PerformedProcedureStepStatus === 'IN PROGRESS' ? 0x0000 : 0x0106;
    if (status === 0) {
      steps.set(uid, step);
    }
    tell('created', { uid, status, step });
    answer(responses.NCreateResponse, request, status, callback);
  }

  nSetRequest(request, callback) {
    const uid = request.getRequestedSopInstanceUid();
    const step = steps.get(uid);
    const changes = request.getDataset().getElements();
    const status = !step ? 0x0112 : step.PerformedProcedureStepStatus === 'IN PROGRESS' ? 0x0000 : 0x0110;
    if (status === 0) {
      Object.assign(step, changes);
    }
    tell('set', { uid, status, changes });
    answer(responses.NSetResponse, request, status, callback);
  }

  nActionRequest(request, callback) {
    const { TransactionUID, ReferencedSOPSequence } = request.getDataset().getElements();
    const to = this.association.getCallingAeTitle().trim();
    answer(responses.NActionResponse, request, 0x0000, callback);
    setImmediate(() => report(TransactionUID, listOf(ReferencedSOPSequence), to));
  }
}

new Server(Peer).listen(port);
