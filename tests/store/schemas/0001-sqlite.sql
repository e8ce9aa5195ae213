PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO alembic_version VALUES('0001');
CREATE TABLE jobs (
	number INTEGER NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	PRIMARY KEY (number), 
	UNIQUE (name)
);
INSERT INTO jobs VALUES(1,'gate');
INSERT INTO jobs VALUES(2,'arm');
CREATE TABLE entries (
	number INTEGER NOT NULL, 
	job INTEGER NOT NULL, 
	id VARCHAR(200) NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	at VARCHAR(40) NOT NULL, 
	data TEXT NOT NULL, 
	PRIMARY KEY (number), 
	CONSTRAINT one_entry_an_id UNIQUE (job, id), 
	FOREIGN KEY(job) REFERENCES jobs (number)
);
INSERT INTO entries VALUES(1,1,'i','intake','2026-11-20T12:00:00+00:00','{"text": "the lift pump is dead; Überlauf"}');
INSERT INTO entries VALUES(2,1,'s','sheet','2026-11-20T12:00:00+00:00','{"file": "gate.sheet", "text": "battery BAT 12 V\npath BAT.- -- body\n"}');
INSERT INTO entries VALUES(3,1,'r1','reading','2026-11-21T12:00:00+00:00','{"text": "BAT.+ 12.4 V"}');
INSERT INTO entries VALUES(4,1,'r2','reading','2026-11-21T12:00:00+00:00','{"text": "BAT.+ 9.9 V"}');
INSERT INTO entries VALUES(5,1,'u','undo','2026-11-21T12:00:00+00:00','{"entry": "r1"}');
INSERT INTO entries VALUES(6,1,'c','conclusion','2026-11-22T12:00:00+00:00','{"cause": "water on the joint", "text": "G2 resistance"}');
INSERT INTO entries VALUES(7,2,'n','note','2026-11-23T12:00:00+00:00','{"text": "it''s 5 o''clock"}');
CREATE TRIGGER jobs_no_update BEFORE UPDATE ON jobs BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER jobs_no_delete BEFORE DELETE ON jobs BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
COMMIT;
