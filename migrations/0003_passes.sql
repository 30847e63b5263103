-- The key an event's passes are signed with: Ed25519 (RFC 8032). Who has this file can sign passes; a withdrawal known to a
-- marshal's device outranks them all the same.
create table event_key (
    event_id blob primary key references event (id),
    secret blob not null check (length(secret) = 32),
    made_at integer not null
) strict;
