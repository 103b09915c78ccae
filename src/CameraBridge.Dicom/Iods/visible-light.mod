# Modules of visible light images, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	VL Image	C.8.12.1
ImageType	1	-	1: ORIGINAL|DERIVED; 2: PRIMARY|SECONDARY; 3: STEREO L|STEREO R|
PhotometricInterpretation	1	-	MONOCHROME2|RGB|YBR_FULL_422|YBR_PARTIAL_420|YBR_RCT|YBR_ICT; when NativeThreeSamples: RGB
BitsAllocated	1	-	8
BitsStored	1	-	8
HighBit	1	-	7
PixelRepresentation	1	-	0
SamplesPerPixel	1	-	1|3
PlanarConfiguration	1C	MoreThanOneSample	0
ContentTime	1C	unchecked: whether the images of the series are related in time is not in the object
LossyImageCompression	2	-	00|01
ReferencedImageSequence	1C	may; StereoPartner	items 1-n
>include	Image SOP Instance Reference
>PurposeOfReferenceCodeSequence	2	-	items 0-1
>>include	Code
WindowWidth	1C	has WindowCenter
ImageLaterality	3	-	R|L|U|B
ViewCodeSequence	3	-	items 1
>include	Code
>ViewModifierCodeSequence	3	-	items 1-n
>>include	Code
AnatomicRegionSequence	1C	may; FramesWithoutSpecimen	items 1
>include	Anatomic Region Item
include	Primary Anatomic Structure
ChannelDescriptionCodeSequence	3	-	items 1-n
>include	Code
PixelSpacing	3
ImagerPixelSpacing	3
