-- aside: give an entry up and keep it for people to look at.
--
-- KEYS 1 STREAM, 2 STREAM of those given up
-- ARGV 1 consumer group
--      2 entry id
--      3 the entry's value
--      4 why, a sealed value
-- Result: 1, or 0 if the entry had gone already

redis.call('XLEN', KEYS[2])
redis.call('XACK', KEYS[1], ARGV[1], ARGV[2])
if redis.call('XDEL', KEYS[1], ARGV[2]) == 0 then return 0 end
redis.call('XADD', KEYS[2], '*', 'm', ARGV[3], 'w', ARGV[4])
return 1
