#include "song/findings.h"

#include <array>
#include <utility>

#include "sheet/phrases.h"

namespace sendworthy::song {
namespace {

using judge::SetRule;

constexpr std::string_view kCommon = "common practice, no source";
constexpr std::string_view kLoudness = "ITU-R BS.1770 (loudness); common practice, no source";

constexpr std::array<SetRule, 18> kRules{{
    {.id = "intent-stated", .title = "What the mix is for", .severity = Status::warn,
     .what = "Whether the plan says what a listener should feel, how the mix serves it, and which sections are the biggest and the quietest.",
     .how = "[song] feeling and approach hold words, and one [[section]] each has biggest = true and quietest = true. What is left open is not measured: "
            "it is never guessed.",
     .caveat = "Whether the mix does what is written: that is asked in the listening pass.",
     .why = "Without an aim there is no end: every revision is merely different, and nobody can tell whether it is better.",
     .remedy = "Write feeling and approach into [song], and mark the biggest and the quietest section, before you move another fader.", .source = kCommon},
    {.id = "biggest-section", .title = "The biggest section", .severity = Status::fail,
     .what = "Whether the section marked biggest is the loudest of all, by [dynamics] biggest_margin in LU.",
     .how = "Integrated loudness of the mix, section by section, decides; every section that comes nearer is named with its distance. Beside it stand, as "
            "evidence, the highest short-term loudness, peak to loudness, the share below 120 Hz, width and density.",
     .caveat = "Loud is not big: an arrangement can be bigger at one loudness. Sections under 0.4 s have none, and a limiter on the bus evens sections out.",
     .why = "If a verse is as big as the last chorus, the song has nowhere left to go when the chorus comes.",
     .remedy = "Turn the sections that come too near down with the automation of the mix bus in front of its compressor, rather than the biggest one up; then "
               "look whether the bus compressor takes the step away again.", .source = kLoudness},
    {.id = "quiet-to-loud", .title = "From quietest to biggest", .severity = Status::fail,
     .what = "How far, in LU, the section marked quietest lies under the one marked biggest, against [dynamics] quiet_to_loud.",
     .how = "Integrated loudness of the biggest section less that of the quietest. Where another section is quieter than the marked one, it is named.",
     .caveat = "How loud a quiet section feels depends on what comes before it. A section that is all but silent lies under the gate of loudness and is not measured.",
     .why = "Loud is only loud against something quiet. Under a heavy bus limiter a step of a few LU shrinks to one or two.",
     .remedy = "Automate the quiet section down, parts and reverb returns included, or ease the threshold of the bus compressor so that it rests there.", .source = kLoudness},
    {.id = "percussion-in-biggest", .title = "Drums in the biggest section", .severity = Status::warn,
     .what = "Whether kick, snare, drums and percussion stand as far out of the rest in the biggest section as wherever they play in the song, in LU.",
     .how = "Loudness of the sum of those stems less that of all other stems, or of the mix less the drums where the stems are not all of it, both by K-weighted power over the windows of 400 ms in which the drums play: once those of the "
            "biggest section, and once all of the song's, sections or not. Lower in the biggest section by more than 1 LU is outside.",
     .caveat = "Guitars and pads that enter in a chorus bring the number down by themselves. Level is not punch: what a bus compressor does to attacks is not in it.",
     .why = "Where everything gets bigger except the drums, the chorus feels smaller than its meter.",
     .remedy = "Raise the drum bus in that section by the difference, or take the guitars and pads that came in down.", .source = kLoudness},
    {.id = "vocal-placement", .title = "Vocal over the band", .severity = Status::fail,
     .what = "How far, in LU, the lead vocal lies over everything else, section by section, against [vocal] above_band and [vocal] sections.",
     .how = "K-weighted power mean of the lead vocal over windows of 400 ms every 100 ms in which it sings, less that of the bed over the same windows. It sings from "
            "where a window reaches 20 LU under the vocal's own integrated loudness until one falls 26 LU under it. The bed is the sum of all other stems, backing "
            "vocals among them, where the stems null against the mix, or the mix bus does one thing to all of them (a level, a delay, a gain that moves, a filter); else the "
            "mix less the vocal, where the vocal stands in the mix as in its stem. Where a filter on the mix bus moves the vocal against the bed by more than 0.3 LU, by an "
            "estimate, or a level that is only fitted decides whether it is in range, it is not measured. Windows lie in a section as a whole. Phrases outside of the range are listed with their times. A section with a range of its "
            "own in which the vocal is not heard for a second is not measured.",
     .caveat = "Whether the words can be made out: a vocal in range may still be covered in its own bands, which priority-masking looks at. With a compressor on "
               "the mix bus that moves with the vocal, bed and vocal are not quite those of the mix.",
     .why = "The vocal's place is what listeners notice first, and an engineer who knows the words hears them at any level.",
     .remedy = "Move the vocal's fader, section by section with its automation, by the difference; where single phrases fall out, ride those and leave the rest.",
     .source = "ITU-R BS.1770 (K-weighting); vocal against mix minus vocal: Music Theory Online 30.1 (2024); common practice, no source"},
    {.id = "vocal-condition", .title = "State of the vocal", .severity = Status::warn,
     .what = "Whether the lead vocal has harsh esses, popped plosives, noise between phrases, or clipping.",
     .how = "Each by a measure of its own on the vocal's stem: 5 to 9.7 kHz 3 dB or more over the vocal's own middle, 0.3 to 3.1 kHz, of a second to both sides "
            "(esses); bursts below 87 Hz at the start of sounds, no more than 3 dB under that middle and 12 dB over the vocal's usual lows (plosives); the quietest "
            "half second of each pause, reverb's tails left out, against the phrases (noise, over -50 dB); and flat tops, any at full scale or ten and more below it, as of what was clipped before its fader (clipping). Each place has its time. A vocal without a pause of a second is not "
            "measured: noise that never stops hides in it.",
     .caveat = "A rasping voice, a whisper or an effect may be meant. What the mix covers is not heard there: listen to the places in the mix.",
     .why = "These are what a limiter, a lossy encoder and earphones bring forward after the mix has left the room.",
     .remedy = "Lower the single esses by automation or a de-esser, high-pass or cut the popped syllables, fade or gate the pauses, and print a clipped take again from "
               "its source.", .source = kCommon},
    {.id = "priority-masking", .title = "Less important over more important", .severity = Status::warn,
     .what = "Which share, in %, of a part's time and bands is covered by a part with a higher number of priority, against [masking] most.",
     .how = "For each such pair: power in bands one ERB wide, in frames of 20 ms in which the more important part plays (from 20 dB under the mean of its louder "
            "frames until 26 dB under it), the masker's spread over neighbouring bands as hearing does; a band is covered where the part lies 6 dB or more under what "
            "arrives there. Bands within 30 dB of the part's strongest count, each by its loudness. The worst passages stand with times and bands; of several maskers "
            "the one is named without which most is uncovered. A low note that bass and others share is normal: in bands that begin below 100 Hz the masker must be the "
            "stronger by 6 dB itself, with nothing spread.",
     .caveat = "A model and an estimate: ears tell parts apart by place, rhythm and melody as well. Parts without a priority are in no pair.",
     .why = "What was decided to matter most must not have to fight with what was decided to matter less.",
     .remedy = "Lower the part that is named in those bands with its equalizer, or its fader in those passages; move it to the side or to another octave where that is open.",
     .source = "ERB and spread: Glasberg & Moore (1990); common practice, no source"},
    {.id = "backing-placement", .title = "Lead over backing vocals", .severity = Status::fail,
     .what = "How far, in LU, the lead vocal lies over the backing vocals together, against [backing] under_lead.",
     .how = "As vocal-placement, with the sum of all stems with the role backing vocal in place of the bed, over the windows in which both sing; by section.",
     .caveat = "Doubles and harmonies an octave away are meant to differ. Where the backing vocals sing alone they are not held against anything.",
     .why = "Backing vocals that come level with the lead take its words; far below it they only blur.",
     .remedy = "Move the fader of the backing vocals' bus by the difference, by section where sections differ.", .source = kLoudness},
    {.id = "backing-masked", .title = "Backing vocals to be heard", .severity = Status::warn,
     .what = "Which share, in %, of the backing vocals' time and bands is covered by the rest of the band, against [masking] most.",
     .how = "As priority-masking, with the sum of the backing vocals as what is covered and each stem but the vocals as what covers it, whatever their priorities.",
     .caveat = "As priority-masking; backing vocals that are meant as a colour need not be made out.",
     .why = "Parts that nobody hears cost headroom and clarity all the same.",
     .remedy = "Make room in the bands that are named, in the part that is named; or mute what nobody will miss.",
     .source = "ERB and spread: Glasberg & Moore (1990); common practice, no source"},
    {.id = "movement", .title = "Levels that move", .severity = Status::warn,
     .what = "Whether the level of each part moves between sections by at least [dynamics] movement, in dB.",
     .how = "K-weighted power mean of each stem over its active windows, section by section; the highest less the lowest. Parts that play in fewer than two sections "
            "are left out.",
     .caveat = "A change of the playing counts as much as one of the fader. A part may be meant to stand still; waive it by name then.",
     .why = "A mix whose faders never move is heard as one long section, however good it is.",
     .remedy = "Automate the parts that are named: up a little where they lead, down where they accompany.", .source = kCommon},
    {.id = "quiet-listening", .title = "Heard very quietly", .severity = Status::warn,
     .what = "How far, in dB, leads, kick and snare move against one another from the reference level to [quiet] level_db_spl, against [quiet] moved; and which of "
             "them are not heard any more, there or through a small loudspeaker.",
     .how = "An estimate: the mix's integrated loudness is taken to play at reference_db_spl. Each part's spectrum in third octaves, over the time in which it plays, is "
            "weighted at each level by its equal-loudness contour and added up in dB, which is no loudness level in phon, and what falls under the threshold of hearing is left out; with small_speaker once "
            "more through the band of a small loudspeaker, 200 Hz to 10 kHz. Parts are ranked at both levels; named is what pokes out against the median of the others, "
            "what disappears, and by how much. Through the small loudspeaker only what disappears is outside: it takes the lows off every kick, so that how far parts "
            "move there is shown beside and not judged.",
     .caveat = "An estimate for an average ear and the levels that the plan assumes; contours hold for steady tones, and below 20 phon they are only extended. The room's "
               "own noise is not in it.",
     .why = "At a whisper the balance shows without the help of bass and brilliance: what is too loud pokes out first. Most people listen softly, on something small.",
     .remedy = "Turn down what pokes out; give what disappears something between 300 Hz and 3 kHz, by its equalizer or a little saturation, rather than more level.",
     .source = "ISO 226:2023 (equal-loudness contours); common practice, no source"},
    {.id = "kick-over-bass", .title = "Kick over bass", .severity = Status::fail,
     .what = "How far, in dB, the kick rises over the bass below [low_end] below_hz when it hits, against [low_end] kick_over_bass.",
     .how = "Both stems through one linear-phase low-pass, flat to below_hz and gone from 1.5 times that on; left and right as the sum of their powers; level over 30 ms "
            "every 5 ms. Hits are the onsets of the full kick. Of each, the highest level of the kick from 0 to 80 ms less the highest of the bass there; the median over the song "
            "decides; the 10th percentile, the share of hits below 0 dB and every section whose own median is under what is wanted stand beside it, and so does by how much both "
            "together, over those 80 ms, lie under the sum of their powers (they cancel) or over it, with what another polarity or up to 5 ms of shift would give. Hits at which the bass is silent, 30 dB under its loudest 5 %, are free: they are "
            "counted and left out. A kick that sounds for more than 4 s a hit is not measured: its hits run into one another.",
     .caveat = "Level is not impact: the click of the beater lies higher up. Bass notes that are ducked by the kick count as the mix has them only where the stems have it too.",
     .why = "Two parts that are equally strong below 100 Hz cover each other, and a limiter lets the louder of the two decide what the rest does.",
     .remedy = "Turn the bass down below below_hz by the difference with a shelf, or let the kick duck it for 80 ms; look at cancellation at the hit before you turn the kick up.",
     .source = kCommon},
    {.id = "low-end-order", .title = "Which reaches lower", .severity = Status::warn,
     .what = "Whether the part that [low_end] lowest names, kick or bass, reaches lower than the other.",
     .how = "The centre of each one's power between 25 Hz and 160 Hz, in Hz: the mean of all frequencies there, each by its energy. Of the kick over 200 ms from each hit, or up "
            "to the next, all of it alike but for the last tenth, which is faded out; of the bass over windows of 400 ms while it plays, within 20 dB of its loudest 5 %. "
            "What is centred lower, in whole Hz, reaches lower.",
     .caveat = "A kick at 40 to 90 Hz under a bass at 90 to 120 Hz is common in bands, the reverse in much electronic music: the plan says which is meant. "
               "A centre is no lower edge: a kick whose pitch falls far is centred over the note on which it ends. Bass lines that wander have no single place.",
     .why = "Where both want the lowest octave, neither has it: decide once, and the low end clears.",
     .remedy = "Cut the one that is meant to lie higher with a high-pass or a low shelf at the other's centre, and tune the kick away from the bass's note.", .source = kCommon},
    {.id = "bass-steadiness", .title = "Steadiness of the bass", .severity = Status::warn,
     .what = "How far, in dB, the level of the bass below [low_end] below_hz wanders from note to note, against [low_end] bass_steadiness.",
     .how = "The bass stem through the low-pass of kick-over-bass, level over windows of 400 ms every 100 ms in which it plays for half of the time or more, pauses left out; "
            "the 95th percentile less the 10th.",
     .caveat = "Playing that is meant to breathe wanders as well; sections in which the bass is meant to be softer widen the number.",
     .why = "Single notes that boom are what small rooms hide and cars show.",
     .remedy = "Even out the notes that are named by clip gain or an equalizer at their pitch, then compress; a compressor alone hears the booming notes last.", .source = kCommon},
    {.id = "mono-low-end", .title = "Low end in mono", .severity = Status::warn,
     .what = "How much level, in dB, is lost below [low_end] below_hz when left and right are added.",
     .how = "Power of the mid, (L + R) / sqrt 2, of the mix below below_hz over the power of both channels, worst second (of those within 20 dB of the loudest 5 %) and whole song. With stems, the one that loses most "
            "is named. Equal channels lose nothing, unlike ones 3 dB; more is outside.",
     .caveat = "Which of two microphones was meant to be the right one.",
     .why = "Clubs, phones and records play the low end in mono: what cancels there is gone.",
     .remedy = "Make the stem that is named mono below below_hz, or turn the polarity of one of its channels; take stereo widening off the bass.", .source = kCommon},
    {.id = "stems-sum-to-mix", .title = "Stems against the mix", .severity = Status::fail,
     .what = "Whether the stems of the plan add up to its mix, and if not, why.",
     .how = "As for a set of files: added as they are, then with one gain, with a gain each, with a gain and a delay each, and with a gain that moves slowly. The first "
            "that takes out the mix names the cause. What is told by stems holds for the mix only where they stand in it as in their files, next to one another: a finding told by a stem that "
            "is at another level, another place, muted, processed, not in the mix or not to be told apart is not measured, and says what the stems alone would give. A fault "
            "stays one where the stem is off by no more than 1 dB or 10 ms. So it is with every stem where each went through a limiter of its own, or where a gain that moves leaves more than -20 dB of the mix. "
            "Noise of stems that rest is added up, and said from -70 LUFS on.",
     .caveat = "A mix that went through processing of its own cannot be rebuilt from stems; the finding says so.",
     .why = "Vocal, priorities and low end are measured on the stems: if they are not the mix, the numbers are another mix's.",
     .remedy = "Print stems and mix in one go from the same session, at unity, with the processing of the bus off or keyed from the full mix.", .source = kCommon},
    {.id = "stems-aligned", .title = "Stems in line", .severity = Status::fail,
     .what = "Whether every stem stands where it stands in the mix, the right way up, at the same sample rate, and as long as the mix.",
     .how = "Delay in frames and polarity of each stem by the step of stems-sum-to-mix that needs them; length and sample rate against the mix, and channels, but that a mono stem beside a stereo mix is common and stands in the middle; a stem that is silent, "
            "clipped where the mix is not, there twice, or the whole mix is named.",
     .caveat = "A stem that is alone with nothing like it in the mix cannot be lined up, nor can stems under a mix bus that changes much (more than -22 dB left beside it); then it "
               "is not measured. Under processing of the mix bus places are told to within two frames.",
     .why = "A stem a few milliseconds off combs with its neighbours as soon as somebody moves its fader.",
     .remedy = "Print all stems from the same start over the same range; look for a plug-in whose delay is not made up for.", .source = kCommon},
    {.id = "listening-pass", .title = "Listening pass", .severity = Status::fail,
     .what = "Whether somebody has listened to this very mix through all questions of the plan, and every answer was that it holds.",
     .how = "The passes file beside the plan, <plan>.passes.jsonl: the last pass on the mix's audio digest is complete where each [[question]] holds. Another bounce opens "
            "all questions again.",
     .caveat = "How attentively somebody listened.",
     .why = "What matters most about a mix can only be heard. A pass on the bounce before says nothing about this one.",
     .remedy = "Run \"sendworthy listen PLAN\" on this bounce, rested and at a moderate level, and do what each answer of tweak says.", .source = kCommon},
}};

}  // namespace

std::span<const SetRule> plan_rules() { return kRules; }

const SetRule& plan_rule(std::string_view id) { return judge::rule_of(kRules, id); }

Status severity_of(std::string_view id, const Severities& severities) {
  const auto found = severities.find(id);
  return found != severities.end() ? found->second : plan_rule(id).severity;
}

Finding passed(std::string_view id, std::string value, std::vector<std::string> files) {
  return judge::finding_by(plan_rule(id), kPlanRules, Status::pass, std::move(value), std::move(files));
}

Finding noted(std::string_view id, std::string value, std::vector<std::string> files) {
  return judge::finding_by(plan_rule(id), kPlanRules, Status::note, std::move(value), std::move(files));
}

Finding faulted(std::string_view id, const Severities& severities, std::string value, std::vector<std::string> files) {
  return judge::finding_by(plan_rule(id), kPlanRules, severity_of(id, severities), std::move(value), std::move(files));
}

Finding unmeasured(std::string_view id, const Severities& severities, std::string reason, std::vector<std::string> files, std::string_view remedy) {
  auto finding = judge::unmeasured_by(plan_rule(id), kPlanRules, std::move(reason), std::move(files), remedy);
  finding.optional = severity_of(id, severities) == Status::note;
  return finding;
}

Finding not_stated(std::string_view id, const Severities& severities, std::string_view key, std::vector<std::string> files, const std::string& measured) {
  auto reason = measured.empty() ? std::string("not stated") : std::string(sheet::kMeasuredBut) + measured + "; what is wanted is not stated in the plan";
  return unmeasured(id, severities, std::move(reason), std::move(files), "Say in the plan what is meant: " + std::string(key) + ".");
}

}  // namespace sendworthy::song
