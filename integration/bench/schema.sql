-- The same facts as in a node's store, as one would keep them here.
--
-- One command leaves three rows in the node's store beside the bytes of its record: the record's place in its
-- stream, the request, and the piece's row of view yields. Here it leaves three too: the record with its bytes,
-- whose key is its place in the stream; the request; and the piece, which is state and view in one.
-- What the node does beside that, the peer is let off: positions without gaps, salts and tree hashes.

CREATE TABLE person (
  id        text PRIMARY KEY,
  member_id text NOT NULL,
  roles     integer[] NOT NULL
);

CREATE TABLE parcel (
  id          text PRIMARY KEY,
  buyer_id    text NOT NULL,
  handed_over boolean NOT NULL
);

-- The room left in each page lets an update stay in it and touch no index.
CREATE TABLE piece (
  id        text PRIMARY KEY,
  parcel_id text NOT NULL,
  version   bigint NOT NULL,
  part      text NOT NULL,
  fate      integer NOT NULL,
  mass_ug   bigint NOT NULL,
  loss_ug   bigint NOT NULL
) WITH (fillfactor = 50);

CREATE TABLE record (
  piece_id   text NOT NULL,
  version    bigint NOT NULL,
  position   bigint GENERATED ALWAYS AS IDENTITY,
  type       integer NOT NULL,
  decided_at timestamptz NOT NULL DEFAULT now(),
  public     bytea NOT NULL,
  private    bytea NOT NULL,
  PRIMARY KEY (piece_id, version)
);

-- To read the log in its order; of all indexes the cheapest to write.
CREATE INDEX record_by_position ON record USING brin (position);

CREATE TABLE request (
  member_id   text NOT NULL,
  id          text NOT NULL,
  person_id   text NOT NULL,
  rpc         text NOT NULL,
  fingerprint bytea NOT NULL,
  position    bigint NOT NULL,
  PRIMARY KEY (member_id, id)
);
