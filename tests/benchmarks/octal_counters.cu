// All states of independent counters modulo 8, three bits each, by hand: the baseline for what is
// generated. One table with open addressing, states plus one in its slots; a thread takes a state,
// keeps what is new, and appends it by one addition for all threads of a group that come together.
// Both arrays are as large as it is known that they have to be.

#define MOST_DIGITS 16

extern "C" __global__ void expand(unsigned long long *states, unsigned long long begin,
                                  unsigned long long end, unsigned long long *table,
                                  unsigned long long slots, unsigned long long *found, int digits)
{
    unsigned long long threads = (unsigned long long)gridDim.x * blockDim.x;
    unsigned before = (1u << (threadIdx.x & 31)) - 1;
    for (unsigned long long n = begin + (unsigned long long)blockIdx.x * blockDim.x + threadIdx.x;
         n < end; n += threads) {
        unsigned long long state = states[n], fresh[MOST_DIGITS];
        unsigned count = 0;
        for (int place = 0; place < 3 * digits; place += 3) {
            unsigned long long digit = state >> place & 7;
            unsigned long long next = (state & ~(7ULL << place)) | ((digit + 1 & 7) << place);
            unsigned long long hash = next * 0x9E3779B97F4A7C15ULL;
            hash = (hash ^ hash >> 32) * 0xD6E8FEB86659FD93ULL;
            unsigned long long slot = __umul64hi(hash, slots);
            for (;;) {
                unsigned long long known = table[slot];
                if (known == 0) {
                    known = atomicCAS(table + slot, 0ULL, next + 1);
                    if (known == 0) {
                        fresh[count++] = next;
                        break;
                    }
                }
                if (known == next + 1)
                    break;
                if (++slot == slots)
                    slot = 0;
            }
        }
        unsigned together = __activemask(), mine = 0, all = 0;
        for (int bit = 0; bit < 5; bit++) {
            unsigned votes = __ballot_sync(together, count >> bit & 1);
            mine += __popc(votes & before) << bit;
            all += __popc(votes) << bit;
        }
        int leader = __ffs(together) - 1;
        unsigned long long at = 0;
        if ((together & before) == 0 && all)
            at = atomicAdd(found, (unsigned long long)all);
        at = __shfl_sync(together, at, leader) + mine;
        for (unsigned one = 0; one < count; one++)
            states[at + one] = fresh[one];
    }
}
