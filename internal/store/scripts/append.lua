-- append: add an element to a list of which the caller has seen every element.
--
-- KEYS 1 the LIST
-- ARGV 1 how many elements the caller has seen
--      2 the element
-- Result: 1 done (now or before), 0 somebody else added one meanwhile

local n = redis.call('LLEN', KEYS[1])
local seen = tonumber(ARGV[1])
if n == seen then
  redis.call('RPUSH', KEYS[1], ARGV[2])
  return 1
end
if n == seen + 1 and redis.call('LINDEX', KEYS[1], -1) == ARGV[2] then return 1 end
return 0
