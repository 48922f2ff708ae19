-- commit: write what one turn decided, all of it or nothing.
--
-- KEYS 1 state   STRING of the household or line
--      2 log     LIST
--      3 due     ZSET
--      4 caseload ZSET
--      5 event   STRING that makes the event happen once
--      6…        STREAM, one for each outgoing entry (a name may come again)
--      A key that a commit does not use is given as the state's.
-- ARGV 1 the version the turn was decided on, '' for a record that must not exist
--      2 the new record: 8 bytes count, 8 bytes nonce, value
--      3 the record's life in ms, 0 for ever
--      4 the event key's life in ms, 0 for an event without a key
--      5 how many log entries
--      6 the log's life in ms, 0 for ever, '' as it is
--      7 due: second (Unix), 'drop', or 'keep' to leave the set alone
--      8 member of the due set
--      9 rank: number, 'drop', or 'keep' to leave the set alone
--     10 member of the caseload
--     11… the log entries, then the outgoing entries
-- Result: {'done'}, also where this very commit had been done before and its
--         reply was lost; {'duplicate'} where another commit has had the event;
--         {'conflict', record} with the record as it is now, '' if there is none
--
-- A script's writes stay when it fails half-way. So everything that can fail is
-- looked at first: the read of a key of another type raises its error there.

local state, log, due, caseload = KEYS[1], KEYS[2], KEYS[3], KEYS[4]
local expected, record = ARGV[1], ARGV[2]
local entries = tonumber(ARGV[5])

if ARGV[4] ~= '0' then
  local had = redis.call('GET', KEYS[5])
  if had then
    if had == string.sub(record, 9, 16) then return {'done'} end
    return {'duplicate'}
  end
end

local current = redis.call('GETRANGE', state, 0, 15)
if current ~= expected then
  if current == string.sub(record, 1, 16) then return {'done'} end
  return {'conflict', redis.call('GET', state) or ''}
end
if entries > 0 then redis.call('LLEN', log) end
local dueNow = ARGV[7] ~= 'keep' and redis.call('ZSCORE', due, ARGV[8])
local rankNow = ARGV[9] ~= 'keep' and redis.call('ZSCORE', caseload, ARGV[10])
for i = 6, #KEYS do redis.call('XLEN', KEYS[i]) end

if ARGV[3] == '0' then
  redis.call('SET', state, record)
else
  redis.call('SET', state, record, 'PX', ARGV[3])
end
if ARGV[4] ~= '0' then
  redis.call('SET', KEYS[5], string.sub(record, 9, 16), 'PX', ARGV[4])
end
for i = 1, entries do redis.call('RPUSH', log, ARGV[10 + i]) end
if ARGV[6] == '0' then
  redis.call('PERSIST', log)
elseif ARGV[6] ~= '' then
  redis.call('PEXPIRE', log, ARGV[6])
end
for i = 6, #KEYS do
  redis.call('XADD', KEYS[i], '*', 'm', ARGV[10 + entries + i - 5])
end
if ARGV[7] == 'drop' then
  if dueNow then redis.call('ZREM', due, ARGV[8]) end
elseif ARGV[7] ~= 'keep' and dueNow ~= ARGV[7] then
  redis.call('ZADD', due, ARGV[7], ARGV[8])
end
if ARGV[9] == 'drop' then
  if rankNow then redis.call('ZREM', caseload, ARGV[10]) end
elseif ARGV[9] ~= 'keep' and rankNow ~= ARGV[9] then
  redis.call('ZADD', caseload, ARGV[9], ARGV[10])
end
return {'done'}
