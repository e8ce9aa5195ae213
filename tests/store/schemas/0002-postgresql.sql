CREATE FUNCTION public.amptrail_append_only() RETURNS trigger
    LANGUAGE plpgsql
    AS $$ BEGIN RAISE EXCEPTION 'the job log is append-only'; END $$;
CREATE TABLE public.alembic_version (
    version_num character varying(32) NOT NULL
);
CREATE TABLE public.entries (
    number integer NOT NULL,
    job integer NOT NULL,
    id character varying(200) NOT NULL,
    kind character varying(20) NOT NULL,
    at character varying(40) NOT NULL,
    data text NOT NULL,
    by character varying(60) DEFAULT ''::character varying NOT NULL
);
CREATE SEQUENCE public.entries_number_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.entries_number_seq OWNED BY public.entries.number;
CREATE TABLE public.files (
    sha256 character varying(64) NOT NULL,
    size bigint NOT NULL,
    media character varying(100) NOT NULL
);
CREATE TABLE public.indexed (
    version integer NOT NULL,
    upto integer NOT NULL
);
CREATE TABLE public.jobs (
    number integer NOT NULL,
    name character varying(200) NOT NULL
);
CREATE SEQUENCE public.jobs_number_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.jobs_number_seq OWNED BY public.jobs.number;
CREATE TABLE public.people (
    number integer NOT NULL,
    name character varying(60) NOT NULL,
    role character varying(20) NOT NULL,
    at character varying(40) NOT NULL
);
CREATE SEQUENCE public.people_number_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE public.people_number_seq OWNED BY public.people.number;
CREATE TABLE public.pieces (
    sha256 character varying(64) NOT NULL,
    part integer NOT NULL,
    data bytea NOT NULL
);
CREATE TABLE public.words (
    word character varying(60) NOT NULL COLLATE pg_catalog."C",
    job integer NOT NULL,
    weight integer NOT NULL
);
ALTER TABLE ONLY public.entries ALTER COLUMN number SET DEFAULT nextval('public.entries_number_seq'::regclass);
ALTER TABLE ONLY public.jobs ALTER COLUMN number SET DEFAULT nextval('public.jobs_number_seq'::regclass);
ALTER TABLE ONLY public.people ALTER COLUMN number SET DEFAULT nextval('public.people_number_seq'::regclass);
INSERT INTO public.alembic_version VALUES ('0002');
INSERT INTO public.entries VALUES (1, 1, 'i', 'intake', '2026-11-20T12:00:00+00:00', '{"text": "the lift pump is dead; Überlauf"}', 'A. Sample');
INSERT INTO public.entries VALUES (2, 1, 's', 'sheet', '2026-11-20T12:00:00+00:00', '{"file": "gate.sheet", "text": "battery BAT 12 V\npath BAT.- -- body\n"}', 'A. Sample');
INSERT INTO public.entries VALUES (3, 1, 'r1', 'reading', '2026-11-21T12:00:00+00:00', '{"text": "BAT.+ 12.4 V"}', 'A. Sample');
INSERT INTO public.entries VALUES (4, 1, 'r2', 'reading', '2026-11-21T12:00:00+00:00', '{"text": "BAT.+ 9.9 V"}', 'A. Sample');
INSERT INTO public.entries VALUES (5, 1, 'u', 'undo', '2026-11-21T12:00:00+00:00', '{"entry": "r1"}', 'A. Sample');
INSERT INTO public.entries VALUES (6, 1, 'c', 'conclusion', '2026-11-22T12:00:00+00:00', '{"cause": "water on the joint", "text": "G2 resistance"}', 'A. Sample');
INSERT INTO public.entries VALUES (7, 2, 'n', 'note', '2026-11-23T12:00:00+00:00', '{"text": "it''s 5 o''clock"}', 'B. Office');
INSERT INTO public.entries VALUES (8, 1, 'f', 'file', '2026-11-24T12:00:00+00:00', '{"media": "image/png", "name": "joint.png", "sha256": "a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af", "size": 28, "text": "the joint"}', 'A. Sample');
INSERT INTO public.files VALUES ('a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af', 28, 'image/png');
INSERT INTO public.indexed VALUES (1, 8);
INSERT INTO public.jobs VALUES (1, 'gate');
INSERT INTO public.jobs VALUES (2, 'arm');
INSERT INTO public.people VALUES (1, 'A. Sample', 'technician', '2026-11-24T12:00:00+00:00');
INSERT INTO public.pieces VALUES ('a010b05bd441d6c7d4c3ce317e81256e100141aaeef4b648f47b4986a51594af', 0, '\x89504e470d0a1a0a6e6f74207265616c6c7920612070696374757265');
INSERT INTO public.words VALUES ('g2', 1, 2);
INSERT INTO public.words VALUES ('on', 1, 2);
INSERT INTO public.words VALUES ('png', 1, 2);
INSERT INTO public.words VALUES ('12', 1, 1);
INSERT INTO public.words VALUES ('v', 1, 2);
INSERT INTO public.words VALUES ('water', 1, 2);
INSERT INTO public.words VALUES ('resistance', 1, 2);
INSERT INTO public.words VALUES ('4', 1, 2);
INSERT INTO public.words VALUES ('joint', 1, 2);
INSERT INTO public.words VALUES ('pump', 1, 2);
INSERT INTO public.words VALUES ('uberlauf', 1, 2);
INSERT INTO public.words VALUES ('the', 1, 2);
INSERT INTO public.words VALUES ('is', 1, 2);
INSERT INTO public.words VALUES ('lift', 1, 2);
INSERT INTO public.words VALUES ('bat', 1, 1);
INSERT INTO public.words VALUES ('path', 1, 1);
INSERT INTO public.words VALUES ('12', 1, 2);
INSERT INTO public.words VALUES ('battery', 1, 1);
INSERT INTO public.words VALUES ('dead', 1, 2);
INSERT INTO public.words VALUES ('v', 1, 1);
INSERT INTO public.words VALUES ('9', 1, 2);
INSERT INTO public.words VALUES ('bat', 1, 2);
INSERT INTO public.words VALUES ('body', 1, 1);
INSERT INTO public.words VALUES ('s', 2, 2);
INSERT INTO public.words VALUES ('o', 2, 2);
INSERT INTO public.words VALUES ('5', 2, 2);
INSERT INTO public.words VALUES ('it', 2, 2);
INSERT INTO public.words VALUES ('clock', 2, 2);
SELECT pg_catalog.setval('public.entries_number_seq', 8, true);
SELECT pg_catalog.setval('public.jobs_number_seq', 2, true);
SELECT pg_catalog.setval('public.people_number_seq', 1, true);
ALTER TABLE ONLY public.alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);
ALTER TABLE ONLY public.entries
    ADD CONSTRAINT entries_pkey PRIMARY KEY (number);
ALTER TABLE ONLY public.files
    ADD CONSTRAINT files_pkey PRIMARY KEY (sha256);
ALTER TABLE ONLY public.indexed
    ADD CONSTRAINT indexed_pkey PRIMARY KEY (version);
ALTER TABLE ONLY public.jobs
    ADD CONSTRAINT jobs_name_key UNIQUE (name);
ALTER TABLE ONLY public.jobs
    ADD CONSTRAINT jobs_pkey PRIMARY KEY (number);
ALTER TABLE ONLY public.entries
    ADD CONSTRAINT one_entry_an_id UNIQUE (job, id);
ALTER TABLE ONLY public.people
    ADD CONSTRAINT people_pkey PRIMARY KEY (number);
ALTER TABLE ONLY public.pieces
    ADD CONSTRAINT pieces_pkey PRIMARY KEY (sha256, part);
ALTER TABLE ONLY public.words
    ADD CONSTRAINT words_pkey PRIMARY KEY (word, job, weight);
CREATE INDEX words_of_job ON public.words USING btree (job);
CREATE TRIGGER entries_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON public.entries FOR EACH STATEMENT EXECUTE FUNCTION public.amptrail_append_only();
CREATE TRIGGER files_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON public.files FOR EACH STATEMENT EXECUTE FUNCTION public.amptrail_append_only();
CREATE TRIGGER jobs_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON public.jobs FOR EACH STATEMENT EXECUTE FUNCTION public.amptrail_append_only();
CREATE TRIGGER people_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON public.people FOR EACH STATEMENT EXECUTE FUNCTION public.amptrail_append_only();
CREATE TRIGGER pieces_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON public.pieces FOR EACH STATEMENT EXECUTE FUNCTION public.amptrail_append_only();
ALTER TABLE ONLY public.entries
    ADD CONSTRAINT entries_job_fkey FOREIGN KEY (job) REFERENCES public.jobs(number);
ALTER TABLE ONLY public.pieces
    ADD CONSTRAINT pieces_sha256_fkey FOREIGN KEY (sha256) REFERENCES public.files(sha256);
ALTER TABLE ONLY public.words
    ADD CONSTRAINT words_job_fkey FOREIGN KEY (job) REFERENCES public.jobs(number);
