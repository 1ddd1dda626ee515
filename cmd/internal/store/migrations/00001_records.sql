-- +goose Up
-- The same statements for SQLite and PostgreSQL. Times are text, UTC, RFC 3339
-- with whole seconds, days are YYYY-MM-DD: both sort as text. Flags are 0 or 1.

CREATE TABLE hitters (
    id       TEXT PRIMARY KEY,              -- random: says nothing about who it is
    name     TEXT NOT NULL,                 -- as last written by the user
    name_key TEXT NOT NULL UNIQUE,          -- small letters, single spaces: finds the name again
    bats     TEXT NOT NULL DEFAULT '',      -- R, L or '' = not told
    height_m DOUBLE PRECISION,              -- m; NULL = not told
    level    TEXT NOT NULL DEFAULT '',      -- youth, high-school, adult or ''
    sport    TEXT NOT NULL DEFAULT '',      -- baseball, softball or ''
    minor    BIGINT NOT NULL DEFAULT 1,     -- 1 until an adult is told to be one
    created  TEXT NOT NULL
);

CREATE TABLE clips (
    sha256      TEXT PRIMARY KEY,           -- of the file's bytes
    file        TEXT NOT NULL,              -- base name
    hitter_id   TEXT REFERENCES hitters (id) ON DELETE CASCADE, -- NULL = nobody's yet
    shot        TEXT NOT NULL,              -- day it was filmed
    shot_source TEXT NOT NULL,              -- how that day is known: user, folder, name, clip, file
    added       TEXT NOT NULL
);
CREATE INDEX clips_of_hitter ON clips (hitter_id, shot);

CREATE TABLE analyses (
    id       TEXT PRIMARY KEY,              -- hash of clip and key
    clip     TEXT NOT NULL REFERENCES clips (sha256) ON DELETE CASCADE,
    key      TEXT NOT NULL,                 -- hash of program, networks and settings
    current  BIGINT NOT NULL,               -- 1 for the one that counts; one per clip
    tool     TEXT NOT NULL,
    folder   TEXT NOT NULL,                 -- where its files were written
    created  TEXT NOT NULL,
    document BYTEA NOT NULL                 -- analysis.json, gzip
);
CREATE INDEX analyses_of_clip ON analyses (clip, current);

CREATE TABLE swings (
    analysis      TEXT NOT NULL REFERENCES analyses (id) ON DELETE CASCADE,
    swing         BIGINT NOT NULL,          -- its number in the clip
    bats          TEXT NOT NULL,
    view          TEXT NOT NULL,
    plant_s       DOUBLE PRECISION,         -- NULL = no plant was found
    plant_sigma_s DOUBLE PRECISION,
    PRIMARY KEY (analysis, swing)
);

CREATE TABLE measures (
    analysis TEXT NOT NULL REFERENCES analyses (id) ON DELETE CASCADE,
    swing    BIGINT NOT NULL,
    measure  TEXT NOT NULL,
    event    TEXT NOT NULL,                 -- '' for a measure that spans events
    value    DOUBLE PRECISION,              -- NULL = not measurable
    unit     TEXT NOT NULL,
    sigma    DOUBLE PRECISION,
    status   TEXT NOT NULL,
    reason   TEXT NOT NULL,
    PRIMARY KEY (analysis, swing, measure, event)
);

CREATE TABLE findings (
    analysis TEXT NOT NULL REFERENCES analyses (id) ON DELETE CASCADE,
    swing    BIGINT NOT NULL,
    place    BIGINT NOT NULL,               -- order in the analysis, from 0
    id       TEXT NOT NULL,                 -- of the checkpoint
    measure  TEXT NOT NULL,
    event    TEXT NOT NULL,
    status   TEXT NOT NULL,
    severity DOUBLE PRECISION NOT NULL,
    priority BIGINT NOT NULL,
    good     BIGINT NOT NULL,
    title    TEXT NOT NULL,
    text     TEXT NOT NULL,
    why      TEXT NOT NULL,
    cue      TEXT NOT NULL,
    drills   TEXT NOT NULL,                 -- JSON list
    lo       DOUBLE PRECISION,              -- NULL = open on that side
    hi       DOUBLE PRECISION,
    origin   TEXT NOT NULL,
    PRIMARY KEY (analysis, swing, place)
);

CREATE TABLE stills (
    analysis TEXT NOT NULL REFERENCES analyses (id) ON DELETE CASCADE,
    swing    BIGINT NOT NULL,
    event    TEXT NOT NULL,
    type     TEXT NOT NULL,                 -- media type
    data     BYTEA NOT NULL,
    PRIMARY KEY (analysis, swing, event)
);

-- +goose Down
DROP TABLE stills;
DROP TABLE findings;
DROP TABLE measures;
DROP TABLE swings;
DROP TABLE analyses;
DROP TABLE clips;
DROP TABLE hitters;
