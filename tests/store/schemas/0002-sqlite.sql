BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
CREATE TABLE entries (
	number INTEGER NOT NULL, 
	job INTEGER NOT NULL, 
	id VARCHAR(200) NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	at VARCHAR(40) NOT NULL, 
	data TEXT NOT NULL, "by" VARCHAR(60) DEFAULT '' NOT NULL, 
	PRIMARY KEY (number), 
	CONSTRAINT one_entry_an_id UNIQUE (job, id), 
	FOREIGN KEY(job) REFERENCES jobs (number)
);
INSERT INTO "entries" VALUES(1,1,'i','intake','2026-11-20T12:00:00+00:00','{"text": "the lift pump is dead; Überlauf"}','A. Sample');
INSERT INTO "entries" VALUES(2,1,'s','sheet','2026-11-20T12:00:00+00:00','{"file": "gate.sheet", "text": "battery BAT 12 V\npath BAT.- -- body\n"}','A. Sample');
INSERT INTO "entries" VALUES(3,1,'r1','reading','2026-11-21T12:00:00+00:00','{"text": "BAT.+ 12.4 V"}','A. Sample');
INSERT INTO "entries" VALUES(4,1,'r2','reading','2026-11-21T12:00:00+00:00','{"text": "BAT.+ 9.9 V"}','A. Sample');
INSERT INTO "entries" VALUES(5,1,'u','undo','2026-11-21T12:00:00+00:00','{"entry": "r1"}','A. Sample');
INSERT INTO "entries" VALUES(6,1,'c','conclusion','2026-11-22T12:00:00+00:00','{"cause": "water on the joint", "text": "G2 resistance"}','A. Sample');
INSERT INTO "entries" VALUES(7,2,'n','note','2026-11-23T12:00:00+00:00','{"text": "it''s 5 o''clock"}','B. Office');
INSERT INTO "entries" VALUES(8,1,'f','file','2026-11-24T12:00:00+00:00','{"media": "image/png", "name": "joint.png", "sha256": "a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af", "size": 28, "text": "the joint"}','A. Sample');
CREATE TABLE files (
	sha256 VARCHAR(64) NOT NULL, 
	size BIGINT NOT NULL, 
	media VARCHAR(100) NOT NULL, 
	PRIMARY KEY (sha256)
);
INSERT INTO "files" VALUES('a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af',28,'image/png');
CREATE TABLE "indexed" (
	version INTEGER NOT NULL, 
	upto INTEGER NOT NULL, 
	PRIMARY KEY (version)
);
INSERT INTO "indexed" VALUES(1,8);
CREATE TABLE jobs (
	number INTEGER NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	PRIMARY KEY (number), 
	UNIQUE (name)
);
INSERT INTO "jobs" VALUES(1,'gate');
INSERT INTO "jobs" VALUES(2,'arm');
CREATE TABLE people (
	number INTEGER NOT NULL, 
	name VARCHAR(60) NOT NULL, 
	role VARCHAR(20) NOT NULL, 
	at VARCHAR(40) NOT NULL, 
	PRIMARY KEY (number)
);
INSERT INTO "people" VALUES(1,'A. Sample','technician','2026-11-24T12:00:00+00:00');
CREATE TABLE pieces (
	sha256 VARCHAR(64) NOT NULL, 
	part INTEGER NOT NULL, 
	data BLOB NOT NULL, 
	PRIMARY KEY (sha256, part), 
	FOREIGN KEY(sha256) REFERENCES files (sha256)
);
INSERT INTO "pieces" VALUES('a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af',0,X'89504E470D0A1A0A6E6F74207265616C6C7920612070696374757265');
CREATE TABLE words (
	word VARCHAR(60) NOT NULL, 
	job INTEGER NOT NULL, 
	weight INTEGER NOT NULL, 
	PRIMARY KEY (word, job, weight), 
	FOREIGN KEY(job) REFERENCES jobs (number)
);
INSERT INTO "words" VALUES('v',1,1);
INSERT INTO "words" VALUES('on',1,2);
INSERT INTO "words" VALUES('battery',1,1);
INSERT INTO "words" VALUES('bat',1,1);
INSERT INTO "words" VALUES('water',1,2);
INSERT INTO "words" VALUES('path',1,1);
INSERT INTO "words" VALUES('is',1,2);
INSERT INTO "words" VALUES('v',1,2);
INSERT INTO "words" VALUES('uberlauf',1,2);
INSERT INTO "words" VALUES('bat',1,2);
INSERT INTO "words" VALUES('dead',1,2);
INSERT INTO "words" VALUES('resistance',1,2);
INSERT INTO "words" VALUES('the',1,2);
INSERT INTO "words" VALUES('png',1,2);
INSERT INTO "words" VALUES('pump',1,2);
INSERT INTO "words" VALUES('12',1,1);
INSERT INTO "words" VALUES('joint',1,2);
INSERT INTO "words" VALUES('g2',1,2);
INSERT INTO "words" VALUES('9',1,2);
INSERT INTO "words" VALUES('4',1,2);
INSERT INTO "words" VALUES('lift',1,2);
INSERT INTO "words" VALUES('12',1,2);
INSERT INTO "words" VALUES('body',1,1);
INSERT INTO "words" VALUES('5',2,2);
INSERT INTO "words" VALUES('s',2,2);
INSERT INTO "words" VALUES('o',2,2);
INSERT INTO "words" VALUES('it',2,2);
INSERT INTO "words" VALUES('clock',2,2);
CREATE TRIGGER jobs_no_update BEFORE UPDATE ON jobs BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER jobs_no_delete BEFORE DELETE ON jobs BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE INDEX words_of_job ON words (job);
CREATE TRIGGER files_no_update BEFORE UPDATE ON files BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER files_no_delete BEFORE DELETE ON files BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER pieces_no_update BEFORE UPDATE ON pieces BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER pieces_no_delete BEFORE DELETE ON pieces BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER people_no_update BEFORE UPDATE ON people BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
CREATE TRIGGER people_no_delete BEFORE DELETE ON people BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END;
COMMIT;
