// All states of independent counters modulo 8, three bits each, by hand: the baseline for what is
// generated. One table with open addressing, states plus one in its slots; a thread takes a state,
// and what is new is appended by one addition for all threads of a group that come together. Both
// arrays are as large as it is known that they have to be.

extern "C" __global__ void expand(unsigned long long *states, unsigned long long begin,
                                  unsigned long long end, unsigned long long *table,
                                  unsigned long long slots, unsigned long long *found, int digits)
{
    unsigned long long threads = (unsigned long long)gridDim.x * blockDim.x;
    unsigned lane = threadIdx.x & 31;
    for (unsigned long long n = begin + (unsigned long long)blockIdx.x * blockDim.x + threadIdx.x;
         n < end; n += threads) {
        unsigned long long state = states[n];
        for (int place = 0; place < 3 * digits; place += 3) {
            unsigned long long digit = state >> place & 7;
            unsigned long long next = (state & ~(7ULL << place)) | ((digit + 1 & 7) << place);
            unsigned long long hash = next * 0x9E3779B97F4A7C15ULL;
            hash = (hash ^ hash >> 32) * 0xD6E8FEB86659FD93ULL;
            unsigned long long slot = __umul64hi(hash, slots);
            bool fresh = false;
            for (;;) {
                unsigned long long known = table[slot];
                if (known == 0) {
                    known = atomicCAS(table + slot, 0ULL, next + 1);
                    if (known == 0) {
                        fresh = true;
                        break;
                    }
                }
                if (known == next + 1)
                    break;
                if (++slot == slots)
                    slot = 0;
            }
            unsigned together = __activemask();
            unsigned new_ones = __ballot_sync(together, fresh);
            if (fresh) {
                int leader = __ffs(new_ones) - 1;
                unsigned long long at = 0;
                if ((int)lane == leader)
                    at = atomicAdd(found, (unsigned long long)__popc(new_ones));
                at = __shfl_sync(new_ones, at, leader);
                states[at + __popc(new_ones & ((1u << lane) - 1))] = next;
            }
        }
    }
}
