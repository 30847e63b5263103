-- What a phone keeps has an owner and an end.

-- The garage's device through which this one was let in to a sheet: it ends with it. Null for who came in by a link of their own.
alter table device add column through blob references device (id);

create index device_by_through on device (through) where through is not null;
