// Package ledger keeps the site's rows in one SQLite file, and is the only writer of state.
//
// It decides one thing: whether rows may be stored, which means that they continue the rows before them without a
// gap, serve no slot twice, repeat no run and answer no request twice. What a row means, and what follows from
// it, is the machine's business. It never changes or removes a row, never retries a write, and after any
// failure that it cannot name it refuses everything until it is opened anew.
//
// Beside the file stand three more: PATH.lock (who is using it), PATH.mark (how far the ledger had come, written
// apart so that a restored or lost file is noticed) and, after an update that changed the layout,
// PATH.schemaN.bak (the file as it was before).
package ledger
