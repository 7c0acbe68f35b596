// Octal counters explored as one would write it by hand: breadth first, states in a vector, a set
// with open addressing and linear probing, no prefetching. Prints states, transitions, and the
// seconds of processor time that it took.
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <utility>
#include <vector>

class Set {
public:
    bool insert(std::uint64_t word) {
        if (10 * (filled + 1) > 6 * slots.size()) grow();
        std::uint64_t &slot = place(word);
        if (slot) return false;
        slot = word + 1;
        ++filled;
        return true;
    }

private:
    std::uint64_t &place(std::uint64_t word) {
        std::uint64_t hash = word * 0x9E3779B97F4A7C15u;
        hash = (hash ^ hash >> 32) * 0xD6E8FEB86659FD93u;
        std::size_t mask = slots.size() - 1, at = hash >> 32 & mask;
        while (slots[at] && slots[at] != word + 1) at = (at + 1) & mask;
        return slots[at];
    }

    void grow() {
        std::vector<std::uint64_t> old(2 * slots.size());
        std::swap(old, slots);
        for (std::uint64_t stored : old)
            if (stored) place(stored - 1) = stored;
    }

    std::vector<std::uint64_t> slots = std::vector<std::uint64_t>(1024);
    std::size_t filled = 0;
};

int main(int, char **arguments) {
    const int count = std::atoi(arguments[1]);
    Set seen;
    std::vector<std::uint64_t> states{0};
    std::uint64_t transitions = 0;
    seen.insert(0);
    for (std::size_t number = 0; number < states.size(); ++number) {
        const std::uint64_t state = states[number];
        for (int counter = 0; counter < count; ++counter) {
            const int shift = 3 * counter;
            const std::uint64_t value = state >> shift & 7;
            const std::uint64_t next = value < 7 ? state + (1ull << shift) : state - (7ull << shift);
            ++transitions;
            if (seen.insert(next)) states.push_back(next);
        }
    }
    std::printf("%zu %llu %f\n", states.size(), static_cast<unsigned long long>(transitions),
                static_cast<double>(std::clock()) / CLOCKS_PER_SEC);
}
