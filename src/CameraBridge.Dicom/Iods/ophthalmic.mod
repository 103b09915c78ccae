# Modules of ophthalmic photographs, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	Ophthalmic Photography Series	C.8.17.1
Modality	1	-	OP

module	Ophthalmic Photography Image	C.8.17.2
ImageType	1	-	1: ORIGINAL|DERIVED; 2: PRIMARY; when Derived: 3: terms MONTAGE; 4: terms COLOR|REDFREE|RED|BLUE|FA|ICG
InstanceNumber	1
SamplesPerPixel	1	-	1|3; when GreyPhotometric: 1; when ColorPhotometric: 3
SamplesPerPixelUsed	1C	unchecked: how many samples mean something is not in the object	2
PhotometricInterpretation	1	-	MONOCHROME2|YBR_PARTIAL_420|YBR_FULL_422|RGB|YBR_RCT|YBR_ICT; when NativeThreeSamples: RGB; when JpegLsThreeSamples: RGB; when Jpeg2000ThreeSamples: YBR_RCT|YBR_ICT; when Jpeg2000LosslessThreeSamples: YBR_RCT; when VideoSyntax: YBR_PARTIAL_420; when JpegLossyThreeSamples: terms YBR_FULL_422
PixelRepresentation	1	-	0
PlanarConfiguration	1C	MoreThanOneSample	0
PixelSpacing	1C	SpacingNotMapped
ContentTime	1
ContentDate	1
AcquisitionDateTime	1C	may; Original
SourceImageSequence	2C	Derived	items 0-n
>include	Image SOP Instance Reference
>PurposeOfReferenceCodeSequence	1	-	items 1; cid D7202
>>include	Code
LossyImageCompression	1	-	00|01
LossyImageCompressionRatio	1C	LossyImageCompression=01
LossyImageCompressionMethod	1C	LossyImageCompression=01	terms ISO_10918_1|ISO_14495_1|ISO_15444_1|ISO_15444_15|ISO_13818_2|ISO_14496_10|ISO_23008_2|ISO_18181_1
PresentationLUTShape	1C	Monochrome2	IDENTITY
CalibrationImage	3	-	YES|NO
BurnedInAnnotation	1	-	YES|NO
RecognizableVisualFeatures	3	-	YES|NO

module	Ocular Region Imaged	C.8.17.5
ImageLaterality	1	-	R|L|B
RelativeImagePositionCodeSequence	2C	may; VolumetricWithoutReferencePoint	items 1; cid B4207
>include	Code
OphthalmicAnatomicReferencePointXCoordinate	2C	may; VolumetricWithoutPointSequence
OphthalmicAnatomicReferencePointYCoordinate	2C	may; VolumetricWithoutPointSequence
OphthalmicAnatomicReferencePointSequence	1C	may; PointSequenceNeeded	items 1-n
>PrimaryAnatomicStructureItemIndex	1
>OphthalmicAnatomicReferencePointLocalizationType	2
>OphthalmicAnatomicReferencePointXCoordinate	2
>OphthalmicAnatomicReferencePointYCoordinate	2
>OphthalmicAnatomicReferencePointFrameCoordinate	2C	unchecked: whether the frames are parallel is not in the object
AnatomicRegionSequence	1	-	items 1; cid B4209
>include	Anatomic Region Item
include	Primary Anatomic Structure

module	Ophthalmic Photography Acquisition Parameters	C.8.17.4
PatientEyeMovementCommanded	2	-	YES|NO
PatientEyeMovementCommandCodeSequence	1C	PatientEyeMovementCommanded=YES	items 1; cid B4201
>include	Code
HorizontalFieldOfView	2
RefractiveStateSequence	2	-	items 0-1
>SphericalLensPower	1
>CylinderLensPower	1
>CylinderAxis	1
>VertexDistance	3
EmmetropicMagnification	2
IntraOcularPressure	2
PupilDilated	2	-	YES|NO
MydriaticAgentSequence	2C	PupilDilated=YES	items 0-n
>MydriaticAgentCodeSequence	1	-	items 1; cid B4208
>>include	Code
>MydriaticAgentConcentration	3
>MydriaticAgentConcentrationUnitsSequence	1C	has MydriaticAgentConcentration	items 1; cid B3082
>>include	Code
DegreeOfDilation	2C	PupilDilated=YES

module	Ophthalmic Photographic Parameters	C.8.17.3
AcquisitionDeviceTypeCodeSequence	1	-	items 1; cid B4202
>include	Code
IlluminationTypeCodeSequence	2	-	items 0-1; cid B4203
>include	Code
LightPathFilterTypeStackCodeSequence	2	-	items 0-n; cid B4204
>include	Code
LightPathFilterPassThroughWavelength	1C	may; ScanningLaser
LightPathFilterPassBand	3
ImagePathFilterTypeStackCodeSequence	2	-	items 0-n; cid B4204
>include	Code
ImagePathFilterPassThroughWavelength	3
ImagePathFilterPassBand	1C	may; ScanningLaser
LensesCodeSequence	2	-	items 0-n; cid B4205
>include	Code
DetectorType	2	-	terms CCD|CMOS
ChannelDescriptionCodeSequence	1C	unchecked: whether the channels mean something else than their name is not in the object	cid B4206
>include	Code
CameraAngleOfView	3

module	Enhanced Contrast/Bolus	C.7.6.4b
ContrastBolusAgentSequence	1	-	items 1-n
>include	Code
>ContrastBolusAgentNumber	1
>ContrastBolusAdministrationRouteSequence	1	-	items 1
>>include	Code
>ContrastBolusIngredientCodeSequence	2	-	items 0-n
>>include	Code
>ContrastBolusVolume	2
>ContrastBolusIngredientConcentration	2
>ContrastBolusIngredientPercentByVolume	3
>ContrastBolusIngredientOpaque	3	-	YES|NO
>ContrastBolusT1Relaxivity	3
>ContrastAdministrationProfileSequence	3	-	items 1-n
>>ContrastBolusVolume	2
>>ContrastBolusStartTime	3
>>ContrastBolusStopTime	3
>>ContrastFlowRate	3
>>ContrastFlowDuration	3
