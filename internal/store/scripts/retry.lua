-- retry: take an entry off the stream until a later time.
--
-- KEYS 1 STREAM, 2 retry ZSET
-- ARGV 1 consumer group
--      2 entry id
--      3 when, s (Unix)
--      4 deliveries so far
--      5 the entry's value
-- Result: 1, or 0 if the entry had gone already
--
-- A member of the set is: deliveries, a space, the entry id, a space, the value.

redis.call('ZCARD', KEYS[2])
redis.call('XACK', KEYS[1], ARGV[1], ARGV[2])
if redis.call('XDEL', KEYS[1], ARGV[2]) == 0 then return 0 end
redis.call('ZADD', KEYS[2], ARGV[3], ARGV[4] .. ' ' .. ARGV[2] .. ' ' .. ARGV[5])
return 1
