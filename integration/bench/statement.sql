-- The whole command as one statement: $1 piece, $2 part, $3 mass in, $4 mass out, $5 member, $6 person, $7 request id,
-- $8 rpc, $9 fingerprint, $10 public and $11 private bytes of the record. No row comes back where a rule says no.
WITH worked AS (
  UPDATE piece SET version = piece.version + 1, mass_ug = $4, loss_ug = piece.loss_ug + $3 - $4
  FROM parcel, person
  WHERE piece.id = $1 AND piece.part = $2 AND piece.fate = 1 AND piece.mass_ug = $3 AND $4 <= $3
    AND parcel.id = piece.parcel_id AND parcel.handed_over AND parcel.buyer_id = $5
    AND person.id = $6 AND person.member_id = $5 AND 2 = ANY (person.roles)
    AND NOT EXISTS (SELECT FROM request WHERE member_id = $5 AND id = $7)
  RETURNING piece.id, piece.version
), recorded AS (
  INSERT INTO record (piece_id, version, type, public, private)
  SELECT id, version, 302, $10, $11 FROM worked
  RETURNING position
)
INSERT INTO request (member_id, id, person_id, rpc, fingerprint, position)
SELECT $5, $7, $6, $8, $9, position FROM recorded
RETURNING position
