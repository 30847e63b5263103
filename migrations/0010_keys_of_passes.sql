-- Keys of passes end with their event and can be made anew: a row for each key, the newest counts.

create table pass_key (
    id blob primary key,
    event_id blob not null references event (id),
    -- Ed25519 (RFC 8032); null once the key has ended: nobody can sign a pass with it then, and a copy of this file cannot either
    secret blob check (length(secret) = 32),
    -- null for a key of an earlier program that has not ended: it is worked out from the secret one
    public blob check (length(public) = 32),
    made_at integer not null,
    -- the organizer who had it made anew; null for an event's first, which the program makes
    made_by text,
    check (secret is not null or public is not null)
) strict;

create index pass_key_of_event on pass_key (event_id);

insert into pass_key (id, event_id, secret, made_at) select event_id, event_id, secret, made_at from event_key;

drop table event_key;
