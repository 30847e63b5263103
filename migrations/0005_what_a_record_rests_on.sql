-- Records bind what they rest on: the edition in force, the event's head and the roster line, each by a digest. Opening an event,
-- taking in a roster and raising the sheet are records of the event's chain. What is done with links and devices has a chain too.

-- SQLite cannot change a check: tables are made anew under their old names, as in steps 2 and 4.
pragma defer_foreign_keys = on;

create table record_before as select * from record;

drop table record;

create table record (
    -- made on the maker's device: sending twice meets the primary key
    id blob primary key,
    event_id blob not null references event (id),
    -- null for a record of the event itself
    entry_id blob references entry (id),
    -- 1, 2, 3 ... in the event, in order of arrival: the order of the event's chain
    place integer not null check (place > 0),
    kind text not null check (kind in ('submission', 'clear', 'hold', 'withdrawal', 'opened', 'roster', 'raise')),
    -- ids of the newest records its maker had in front of them, a JSON list in order
    seen text not null check (json_valid(seen)),
    body text not null check (json_valid(body)),
    -- 1, 2, 3 ... among the entry's submissions, in order of arrival; for people, not for the rule
    number integer,
    made_at integer not null,
    arrived_at integer not null,
    -- the maker's name, null once it was erased; `maker_mark` is a hash over salt and name, and stays
    maker text,
    maker_salt text,
    maker_mark blob,
    maker_role text not null,
    -- null, all three, for what the program itself or whoever runs the server did
    link_id blob references access_link (id),
    device_id blob references device (id),
    -- 0 for a clear that came from a device with no right to it any more
    counts integer not null check (counts in (0, 1)),
    -- by which rule it is hashed: 1, as before this step; 2, with the four below
    form integer not null check (form in (1, 2)),
    -- the edition in force when it arrived, and the digests of what it rests on
    edition_id blob references edition (id),
    edition_digest blob,
    event_digest blob,
    entry_digest blob,
    -- SHA-256 of the record before it in its entry and in its event, and of itself: src/rules/chain.rs
    entry_before blob,
    event_before blob,
    hash blob not null,
    unique (event_id, place),
    check ((maker is null) = (maker_salt is null)),
    check ((entry_id is null) = (kind in ('opened', 'roster', 'raise'))),
    check ((link_id is null) = (device_id is null) and (link_id is null) = (maker_mark is null)),
    check (link_id is not null or entry_id is null),
    check ((edition_id is null) = (form = 1)),
    check ((edition_digest is null) = (form = 1) and (event_digest is null) = (form = 1)),
    check ((entry_digest is null) = (form = 1 or entry_id is null))
) strict;

insert into record (id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker, maker_salt, maker_mark,
    maker_role, link_id, device_id, counts, form, entry_before, event_before, hash)
select id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker, maker_salt, maker_mark,
    maker_role, link_id, device_id, counts, 1, entry_before, event_before, hash from record_before;

drop table record_before;

create index record_by_entry on record (entry_id, place);
-- the few records of the event itself, among thousands of its entries'
create index record_of_event on record (event_id, place) where entry_id is null;

create trigger record_stays_as_it_is before update of
    id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker_mark, maker_role, link_id, device_id,
    counts, form, edition_id, edition_digest, event_digest, entry_digest, entry_before, event_before, hash on record
begin
    select raise(abort, 'history is append-only');
end;

-- a name can be erased, and nothing else can be made of it
create trigger record_maker_is_erased_or_stays before update of maker, maker_salt on record
when new.maker is not null or new.maker_salt is not null
begin
    select raise(abort, 'history is append-only');
end;

-- only a driver's name can be erased
create trigger record_maker_of_the_club_stays before update of maker, maker_salt on record
when old.maker_role <> 'driver'
begin
    select raise(abort, 'history is append-only');
end;

-- "insert or replace" removes the old row without a delete; for our own "on conflict do nothing" this says the same, earlier
create trigger record_is_not_replaced before insert on record when exists (select 1 from record where id = new.id)
begin
    select raise(ignore);
end;

create trigger record_stays before delete on record
begin
    select raise(abort, 'history is append-only');
end;

-- as `record_is_not_replaced`, for a record of another id in the same place of its event
create trigger record_s_place_is_not_replaced before insert on record
when exists (select 1 from record where event_id = new.event_id and place = new.place and id <> new.id)
begin
    select raise(abort, 'history is append-only');
end;

-- the commitment to the driver's name: erasing a driver empties name and salt and leaves the mark
alter table entry add column driver_salt text;
alter table entry add column driver_mark blob;

-- with the holder's name the commitment that is in the deeds of access; erased with it
alter table access_link add column holder_salt text;

-- SHA-256 of the JPEG: submissions and sign-offs name their photos by it
alter table photo add column digest blob;

-- a column that lies behind a picture is read from here, not over all of the picture
drop index photo_by_entry;
create index photo_by_entry on photo (entry_id, id, digest);
create index photo_without_digest on photo (id) where digest is null;

create table access_deed_before as select * from access_deed;

drop table access_deed;

create table access_deed (
    -- 1, 2, 3 ... in the club: the order of the chain
    id integer primary key,
    -- the link it is about; null for an erased driver or garage, and for the baseline
    link_id blob references access_link (id),
    what text not null check (what in ('made', 'made anew', 'used', 'let in again', 'spent', 'device ended', 'taken back',
        'erased', 'baseline')),
    -- who did it; null for the program, and for whoever runs the server
    by_link_id blob references access_link (id),
    by_device_id blob references device (id),
    at integer not null,
    -- all that it claims, as JSON: src/rules/chain/claim.rs. Null, all three, in deeds from before this step.
    says text check (says is null or json_valid(says)),
    -- SHA-256 of the deed before it, null in the first of the chain; and of itself
    before blob,
    hash blob,
    check ((says is null) = (hash is null)),
    check (hash is not null or (before is null and link_id is not null))
) strict;

insert into access_deed (id, link_id, what, by_link_id, by_device_id, at)
select id, link_id, what, by_link_id, by_device_id, at from access_deed_before order by id;

drop table access_deed_before;

create index access_deed_by_link on access_deed (link_id);

create trigger access_deed_stays_as_it_is before update on access_deed
begin
    select raise(abort, 'what was done stays as it is');
end;

create trigger access_deed_stays before delete on access_deed
begin
    select raise(abort, 'what was done stays');
end;

-- "insert or replace" removes the old row without a delete
create trigger access_deed_is_not_replaced before insert on access_deed when exists (select 1 from access_deed where id = new.id)
begin
    select raise(abort, 'what was done stays');
end;
