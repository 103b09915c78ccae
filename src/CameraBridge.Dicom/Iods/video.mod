# Modules of images of several frames, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	Cine	C.7.6.5
PreferredPlaybackSequencing	3	-	0|1
FrameTime	1C	FrameTimePointedTo
FrameTimeVector	1C	FrameTimeVectorPointedTo
StartTrim	3
StopTrim	3
RecommendedDisplayFrameRate	3
CineRate	3
FrameDelay	3
ImageTriggerDelay	3
EffectiveDuration	3
ActualFrameDuration	3
MultiplexedAudioChannelsDescriptionCodeSequence	2C	elsewhere: the bit stream tells whether there is sound	items 0-n
>ChannelIdentificationCode	1
>ChannelMode	1
>ChannelSourceSequence	1	-	items 1; cid D3000
>>include	Code

module	Multi-frame	C.7.6.6
NumberOfFrames	1
FrameIncrementPointer	1
StereoPairsPresent	3	-	YES|NO
EncapsulatedPixelDataValueTotalLength	3
