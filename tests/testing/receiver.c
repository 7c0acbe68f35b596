/* The receiver of the starter (models/starter/receiver.yaml) as firmware in C.
 *
 * A contact feels the plug; pictures of the pedal's switch come by radio or through the cable. A new
 * cable counts only once a first picture has come through it.
 *
 * Built with -DHOT_PLUG_MISTAKE it has a mistake of the kind that people make: who wrote it thought
 * of pulling the cable out while it is in use, and not of pulling it out again at once.
 */
#include <stdbool.h>

enum state { ON_AIR, CHANGING, ON_CABLE };

static enum state state;
static bool sounding;

void receiver_reset(void)
{
    state = ON_AIR;
    sounding = false;
}

void receiver_contact(bool plugged)
{
    if (plugged && state == ON_AIR)
        state = CHANGING;
#ifdef HOT_PLUG_MISTAKE
    if (!plugged && state == ON_CABLE)
        state = ON_AIR;
#else
    if (!plugged)
        state = ON_AIR;
#endif
}

void receiver_picture(bool through_cable, bool pressed)
{
    if (through_cable != (state != ON_AIR))
        return; /* the other way is not listened to */
    if (through_cable)
        state = ON_CABLE;
    sounding = pressed;
}

int receiver_state(void)
{
    return state;
}

bool receiver_sounding(void)
{
    return sounding;
}
