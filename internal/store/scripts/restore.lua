-- restore: put one household back as a snapshot had it, in place of whatever is
-- there, all of it or nothing.
--
-- KEYS 1 state STRING, 2 log LIST, 3 due ZSET, 4 caseload ZSET
-- ARGV 1 record, 2 due second or '', 3 rank or '', 4 member of the due set,
--      5 member of the caseload, 6 life in ms, 0 for ever, 7… log entries
-- Result: 1

redis.call('DEL', KEYS[1], KEYS[2])
redis.call('SET', KEYS[1], ARGV[1])
for i = 7, #ARGV do redis.call('RPUSH', KEYS[2], ARGV[i]) end
if ARGV[6] ~= '0' then
  redis.call('PEXPIRE', KEYS[1], ARGV[6])
  redis.call('PEXPIRE', KEYS[2], ARGV[6])
end
redis.call('ZREM', KEYS[3], ARGV[4])
redis.call('ZREM', KEYS[4], ARGV[5])
if ARGV[2] ~= '' then redis.call('ZADD', KEYS[3], ARGV[2], ARGV[4]) end
if ARGV[3] ~= '' then redis.call('ZADD', KEYS[4], ARGV[3], ARGV[5]) end
return 1
