-- alias: let a further contact point to its household.
--
-- KEYS 1 alias STRING
-- ARGV 1 id of the household
-- Result: the id of the household that the contact belongs to now

local holder = redis.call('GET', KEYS[1])
if holder then return holder end
redis.call('SET', KEYS[1], ARGV[1])
return ARGV[1]
