-- ack: take finished entries out of a stream for good.
--
-- KEYS 1 STREAM
-- ARGV 1 consumer group
--      2… entry ids
-- Result: how many were there

redis.call('XACK', KEYS[1], ARGV[1], unpack(ARGV, 2))
return redis.call('XDEL', KEYS[1], unpack(ARGV, 2))
